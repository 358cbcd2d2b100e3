"""The times of a round against PyVRP's own schedule, and breaks worked out by hand."""

import random

import pytest
import pyvrp

from service.rounds.solver.problem import Pause, Shift, Technician
from service.rounds.solver.timing import Step, schedule

HOUR = 3600
LONE = Technician("t1", 0, 0, None, frozenset(), ())


def _random_round(seed: int) -> tuple[list[list[int]], Shift, list[Step]]:
    rng = random.Random(seed)
    size = rng.randint(2, 8)
    points = [(rng.randint(0, 50), rng.randint(0, 50)) for _ in range(size)]
    travel = [[60 * (abs(a - c) + abs(b - d)) for c, d in points] for a, b in points]
    steps = []
    for place in range(1, size):
        opens = rng.randint(7, 15) * HOUR
        window = (opens, opens + rng.randint(0, 4) * HOUR)
        steps.append(Step(place, rng.randint(0, 4) * 900, rng.choice([None, (window,)])))
    return travel, Shift(0, 8 * HOUR, 17 * HOUR), steps


@pytest.mark.parametrize("seed", range(40))
def test_times_equal_those_of_pyvrp_when_there_is_no_break(seed: int) -> None:
    """Reference: pyvrp 0.14.1, Route.duration, Route.end_time and Route.time_warp."""
    travel, shift, steps = _random_round(seed)
    data = pyvrp.ProblemData(
        [pyvrp.Location(0, 0) for _ in travel],
        [
            pyvrp.Client(
                step.location,
                service_duration=step.service,
                tw_early=step.windows[0][0] if step.windows else 0,
                tw_late=step.windows[0][1] if step.windows else 10**9,
            )
            for step in steps
        ],
        [pyvrp.Depot(0)],
        [pyvrp.VehicleType(tw_early=shift.starts, tw_late=shift.ends)],
        [_matrix(travel)],
        [_matrix(travel)],
    )
    route = pyvrp.Route(data, list(range(len(steps))), 0)

    timing = schedule(travel, LONE, shift, steps)

    assert timing.late + timing.over == route.time_warp()
    if route.time_warp() == 0:
        assert timing.duration == route.duration()
        assert timing.back == route.end_time()


def _matrix(rows: list[list[int]]):  # type: ignore[no-untyped-def]
    import numpy as np

    return np.array(rows)


def _one_stop(
    drive: int, service: int, window: tuple[int, int] | None = None
) -> tuple[list[list[int]], Step]:
    return [[0, drive], [drive, 0]], Step(1, service, None if window is None else (window,))


def test_a_technician_leaves_as_late_as_the_first_window_allows() -> None:
    travel, step = _one_stop(1800, HOUR, (10 * HOUR, 11 * HOUR))

    timing = schedule(travel, LONE, Shift(0, 8 * HOUR, 17 * HOUR), [step])

    assert (timing.depart, timing.stops[0].start, timing.back) == (
        9 * HOUR + 1800,
        10 * HOUR,
        11 * HOUR + 1800,
    )
    assert timing.excess == 0


def test_the_second_window_is_used_when_the_first_has_closed() -> None:
    travel = [[0, 1800], [1800, 0]]
    step = Step(1, HOUR, ((8 * HOUR, 8 * HOUR + 60), (12 * HOUR, 13 * HOUR)))

    timing = schedule(travel, LONE, Shift(0, 8 * HOUR, 17 * HOUR), [step])

    assert timing.stops[0].start == 12 * HOUR
    assert timing.depart == 11 * HOUR + 1800


@pytest.mark.parametrize(
    ("window", "pause_at", "start"),
    [
        pytest.param((9 * HOUR, 9 * HOUR), 12 * HOUR, 9 * HOUR, id="after the round"),
        pytest.param((15 * HOUR, 15 * HOUR), 12 * HOUR, 15 * HOUR, id="before the round"),
    ],
)
def test_a_short_round_needs_no_break_inside(window: tuple[int, int], pause_at: int, start: int) -> None:
    travel, step = _one_stop(1800, HOUR, window)
    shift = Shift(0, 8 * HOUR, 17 * HOUR, pause=Pause(12 * HOUR, 13 * HOUR, HOUR))

    timing = schedule(travel, LONE, shift, [step])

    assert (timing.pause_at, timing.stops[0].start, timing.duration) == (pause_at, start, 2 * HOUR)
    assert not timing.pause_inside


def test_the_break_falls_between_two_stops_and_not_into_one() -> None:
    travel = [[0, 600, 600], [600, 0, 600], [600, 600, 0]]
    morning = Step(1, 2 * HOUR, ((9 * HOUR, 10 * HOUR),))
    afternoon = Step(2, HOUR, ((12 * HOUR, 14 * HOUR),))
    shift = Shift(0, 8 * HOUR, 17 * HOUR, pause=Pause(12 * HOUR, 13 * HOUR, HOUR))

    timing = schedule(travel, LONE, shift, [morning, afternoon])

    assert timing.pause_at == 12 * HOUR
    assert timing.pause_inside
    assert timing.stops[0].leave <= 12 * HOUR
    assert timing.stops[1].start == 13 * HOUR
    assert timing.excess == 0


def test_a_break_that_no_gap_leaves_room_for_is_counted() -> None:
    travel, step = _one_stop(600, 6 * HOUR, (9 * HOUR, 9 * HOUR))
    shift = Shift(0, 8 * HOUR, 17 * HOUR, pause=Pause(11 * HOUR, 13 * HOUR, HOUR))

    timing = schedule(travel, LONE, shift, [step])

    assert timing.excess > 0


def test_overtime_is_what_lies_beyond_the_shift_or_its_longest_duration() -> None:
    travel, step = _one_stop(1800, 5 * HOUR, (9 * HOUR, 12 * HOUR))
    shift = Shift(0, 8 * HOUR, 17 * HOUR, max_duration=5 * HOUR, overtime_max=HOUR)

    timing = schedule(travel, LONE, shift, [step])

    assert (timing.overtime, timing.over) == (HOUR, 0)
