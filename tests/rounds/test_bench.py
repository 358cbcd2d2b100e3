"""The benchmark reads the classic text format right and notices what it should: on two weeks of our own."""

from pathlib import Path

import pytest

from service.rounds.solver.solve import Effort
from tests.bench.bench_rounds import main, read_instance, run

WITHOUT_WINDOWS = """\
1 1 5 2
0 10
0 10
 0  0.0  0.0  0  0 0 0
 1 10.0  0.0  0  4 1 2 1 2
 2 10.0  1.0  0  4 1 2 1 2
 3 -8.0  0.0  0  4 1 2 1 2
 4 -8.0  1.0  0  4 1 2 1 2
 5  0.0  0.0  0 10 1 2 1 2
"""
"""Two pairs of customers on either side of the depot; the fifth is a filler at the depot."""

WITH_WINDOWS = """\
5 1 2 2
100 10
100 10
 0  0.0  0.0  0  0 0 0  0 200
 1 10.0  0.0  5  4 1 1 3   50  60
 2 20.0  0.0  5  4 1 2 1 2  0  40
"""
"""The first customer is due on both days, late; the second on either, early."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "a").write_text(WITHOUT_WINDOWS)
    (tmp_path / "b").write_text(WITH_WINDOWS)
    (tmp_path / "reference-solutions").mkdir()
    # Each pair has a day to itself: 10 + 1 + sqrt(101), and 8 + 1 + sqrt(65).
    (tmp_path / "reference-solutions" / "a.res").write_text("38.1121\n1 1 ...\n")
    return tmp_path


def test_an_instance_is_read_as_its_format_says(folder: Path) -> None:
    request = read_instance(folder / "b")

    first, second = request["visits"]
    assert (first["day_choices"], second["day_choices"]) == ([[0, 1]], [[1], [0]])
    assert first["windows"] == [{"day": None, "from": 50, "to": 60}]
    assert (first["service"], first["load"]) == (5, 4)
    assert request["technicians"][0]["shifts"][1] == {"day": 1, "from": 0, "to": 200, "max_duration": 100}


def test_a_customer_at_the_depot_that_fills_a_van_is_left_out(folder: Path) -> None:
    assert [visit["id"] for visit in read_instance(folder / "a")["visits"]] == ["c1", "c2", "c3", "c4"]


def test_the_best_week_is_found_and_compared_with_the_published_cost(folder: Path) -> None:
    outcome = run(folder, "a", Effort(iterations=100, processes=1))

    assert outcome.broken == []
    assert outcome.gap == pytest.approx(0, abs=0.001)


def test_a_week_with_windows_is_driven_within_them(folder: Path) -> None:
    outcome = run(folder, "b", Effort(iterations=100, processes=1))

    assert (outcome.broken, outcome.reference) == ([], None)
    assert outcome.cost == pytest.approx(20 + 40)


def test_the_table_names_every_run_and_the_mean_gap(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status = main(["--instances", str(folder), "--seconds", "0.3", "--seeds", "1", "--processes", "1"])

    printed = capsys.readouterr().out
    assert status == 0
    assert [line.split("|")[1].strip() for line in printed.splitlines() if line.startswith("| ")] == [
        "instance",
        "---",
        "a",
        "b",
    ]
    assert "mean gap 0.00 %" in printed.replace("-0.00", "0.00")


def test_the_status_tells_when_the_mean_gap_is_too_large(folder: Path) -> None:
    (folder / "reference-solutions" / "a.res").write_text("30\n")

    arguments = ["--names", "a", "--seconds", "0.3", "--seeds", "1", "--processes", "1"]
    assert main(["--instances", str(folder), *arguments]) == 1
