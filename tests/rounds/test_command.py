"""The command as scripts and the worker use it: JSON in, JSON out, progress aside, stopped by a signal."""

import json
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from .checker import broken_rules
from .weeks import HOUR, Json, technician, visit, week

ROOT = Path(__file__).resolve().parents[2]


def _command(*arguments: str) -> list[str]:
    return [sys.executable, "-m", "service.rounds.solver", *arguments]


def _run(request: Any, *arguments: str) -> subprocess.CompletedProcess[str]:
    text = request if isinstance(request, str) else json.dumps(request)
    return subprocess.run(
        _command(*arguments), input=text, capture_output=True, text=True, cwd=ROOT, check=False
    )


@pytest.fixture
def request_() -> Json:
    visits = [visit(f"v{i}", f"p{1 + i % 3}", [[0], [1], [2]], service=HOUR) for i in range(9)]
    return week(3, [(0, 0), (10, 0), (20, 5), (30, 9)], [technician("t1", 3), technician("t2", 3)], visits)


def test_plan_answers_with_a_plan_and_tells_its_progress(request_: Json) -> None:
    done = _run(request_, "plan", "--iterations", "40", "--processes", "1")

    response = json.loads(done.stdout)
    progress = [json.loads(line) for line in done.stderr.splitlines()]
    assert done.returncode == 0
    assert broken_rules(request_, response) == []
    assert progress[-1]["fraction"] == 1.0
    assert progress[-1]["cost"] == pytest.approx(response["cost"], abs=0.01)
    assert set(response) == {"status", "cost", "figures", "routes", "unserved", "seconds", "lower_bound"}


def test_two_processes_with_a_seed_and_iterations_give_the_same_plan_every_time(request_: Json) -> None:
    first, second = (
        json.loads(_run(request_, "plan", "--iterations", "80", "--seed", "5").stdout) for _ in range(2)
    )

    assert broken_rules(request_, first) == []
    assert first["routes"] == second["routes"]


def test_the_search_stops_at_the_time_given(request_: Json) -> None:
    response = json.loads(_run(request_, "plan", "--seconds", "0.5", "--processes", "1").stdout)

    assert broken_rules(request_, response) == []


@pytest.mark.parametrize("processes", ["1", "2"])
def test_a_signal_ends_the_search_with_the_best_plan_so_far(request_: Json, processes: str) -> None:
    with subprocess.Popen(
        _command("plan", "--seconds", "600", "--processes", processes),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as process:
        assert process.stdin is not None
        assert process.stderr is not None
        process.stdin.write(json.dumps(request_))
        process.stdin.close()
        process.stdin = None
        process.stderr.readline()  # the search is running
        process.send_signal(signal.SIGTERM)
        answer, _ = process.communicate(timeout=60)

    response = json.loads(answer)
    assert process.returncode == 0
    assert response["cancelled"] is True
    assert broken_rules(request_, response) == []


def test_a_bad_request_ends_with_status_2_and_the_fields() -> None:
    done = _run({"days": 0}, "plan")

    assert done.returncode == 2
    assert {"field": "days", "message": "must be from 1 to 60, not 0"} in json.loads(done.stdout)["errors"]


def test_the_solver_runs_without_django() -> None:
    code = (
        "import sys, service.rounds.solver.__main__; print(sorted(m for m in sys.modules if 'django' in m))"
    )

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)

    assert done.stdout.strip() == "[]"


def test_what_is_not_json_is_refused() -> None:
    done = _run("{days: 5}", "plan")

    (error,) = json.loads(done.stdout)["errors"]
    assert done.returncode == 2
    assert error["message"].startswith("the request is not JSON")


def test_insert_answers_with_places(request_: Json) -> None:
    plan = json.loads(_run(request_, "plan", "--iterations", "10", "--processes", "1").stdout)
    urgent = visit("urgent", "p2", [[0], [1]])
    asked = {
        **request_,
        "visits": [*request_["visits"], urgent],
        "previous": plan["routes"],
        "insert": "urgent",
    }

    done = _run(asked, "insert", "--slots", "2")

    assert done.returncode == 0
    assert len(json.loads(done.stdout)["slots"]) == 2


def test_without_plans_again(request_: Json) -> None:
    plan = json.loads(_run(request_, "plan", "--iterations", "10", "--processes", "1").stdout)
    asked = {**request_, "previous": plan["routes"], "without": [{"technician": "t1"}]}

    response = json.loads(_run(asked, "without", "--iterations", "10", "--processes", "1").stdout)

    assert {route["technician"] for route in response["routes"]} == {"t2"}
