"""A real Celery worker process plans a week: to the end, stopped by a person, and killed in the middle."""

import json
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.reports.test_worker import House, kill_all_of, migrated  # noqa: F401

pytestmark = pytest.mark.worker
SPAS = 10


@pytest.fixture
def house(tmp_path: Path, migrated: Path) -> House:  # noqa: F811
    copy = tmp_path / migrated.name
    copy.write_bytes(migrated.read_bytes())
    return House(tmp_path, "filesystem://")


def scene(house: House, *arguments: str) -> Any:
    return json.loads(house.run("-m", "tests.rounds.week_worker_scene", *arguments))


def is_searching(house: House) -> bool:
    return "s left" in str(house.ask("SELECT doing FROM runs_run")[0][0])


def plans(house: House) -> int:
    return int(house.ask("SELECT count(*) FROM rounds_weekplan")[0][0])


def planners(house: House) -> list[int]:
    """Processes that search for this installation: found by what they were told to read."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            found += _planner(entry, house)
    return found


def _planner(entry: Path, house: House) -> list[int]:
    try:
        command = (entry / "cmdline").read_bytes()
        environment = (entry / "environ").read_bytes()
    except OSError:
        return []
    ours = str(house.folder).encode() in environment
    return [int(entry.name)] if ours and b"service.rounds.solver" in command else []


def wait_until(is_so: Callable[[], bool], patience_s: float = 60) -> None:
    end = time.monotonic() + patience_s
    while not is_so():
        assert time.monotonic() < end
        time.sleep(0.2)


def test_a_real_worker_plans_the_week(house: House) -> None:
    scene(house, "ask", "3")
    with house.worker():
        house.wait_for(lambda: house.state() == "done")

    assert plans(house) == 1
    kept = scene(house, "check")
    assert (kept["visits"], kept["stopped_early"]) == (SPAS, False)
    assert kept["figures"]["unserved"] == 0


def test_a_week_that_is_stopped_keeps_the_best_so_far(house: House) -> None:
    scene(house, "ask", "300")
    with house.worker():
        house.wait_for(lambda: is_searching(house))
        scene(house, "stop")
        house.wait_for(lambda: house.state() == "done")

    kept = scene(house, "check")
    assert (kept["visits"], kept["stopped_early"]) == (SPAS, True)
    assert planners(house) == []


def test_a_week_whose_worker_is_killed_is_planned_once_and_no_planner_is_left_behind(house: House) -> None:
    scene(house, "ask", "12")
    with house.worker() as process:
        house.wait_for(lambda: is_searching(house))
        kill_all_of(process)
    assert house.state() == "running"
    assert plans(house) == 0

    with house.worker():
        house.wait_for(lambda: house.state() == "done")

    assert plans(house) == 1
    assert house.ask("SELECT attempt FROM runs_run") == [(2,)]
    assert house.ask("SELECT count(*) FROM accounts_auditevent WHERE action = 'week_plan.made'") == [(1,)]


def test_a_planner_whose_worker_is_gone_ends_by_itself(house: House) -> None:
    scene(house, "ask", "300")
    with house.worker() as process:
        house.wait_for(lambda: is_searching(house))
        mine = planners(house)
        children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
        for pid in [process.pid, *map(int, children)]:
            os.kill(pid, signal.SIGKILL)
        process.wait(30)

    assert mine
    wait_until(lambda: planners(house) == [])
