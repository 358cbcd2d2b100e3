"""All days worked on at once: visits due once move from day to day, and nothing else changes its days."""

import random
from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, settings

from service.rounds.solver.explain import finish
from service.rounds.solver.joint import movable
from service.rounds.solver.plan import plan_from
from service.rounds.solver.polish import polish_week, share_joinable
from service.rounds.solver.request import read_problem
from service.rounds.solver.response import plan_response
from service.rounds.solver.solve import Effort, plan
from service.rounds.solver.start import first_week
from service.rounds.solver.week import Model, Snapshot, Week, build_model

from .checker import broken_rules, true_cost
from .oracle import cheapest_cost
from .weeks import HOUR, Json, rich_weeks, shift, stops_of, technician, visit, week

LINE = [(0, 0), (10, 0), (20, 0), (30, 0)]
FAR_APART = [(0, 0), (30, 1), (30, 0), (0, 30), (1, 30)]
EITHER = [[0], [1]]
some = settings(
    max_examples=50,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.large_base_example],
)


def _steps(count: int) -> Callable[[float], bool]:
    left = iter(range(count))
    return lambda _best: next(left, None) is None


def _model(request: Json) -> Model:
    return build_model(read_problem(request))


def _response(model: Model, found: Snapshot) -> Json:
    found_plan = plan_from(model, found)
    finish(found_plan, model.screening)
    return plan_response(found_plan, seconds=0.0)


def _apart(request: Json, days: dict[str, int]) -> tuple[Model, Snapshot]:
    """The week with every visit on the day said, in the order said."""
    model = _model(request)
    start = Week(model, 1)
    names = {model.problem.visits[unit.visits[0]].id: u for u, unit in enumerate(model.catalogue.units)}
    routes: list[list[int]] = [[] for _ in model.days]
    chosen: list[int | None] = [None] * len(names)
    for name, day in days.items():
        unit = names[name]
        parts = model.parts[unit]
        choice = next(c for c, part in enumerate(parts) if part[0][0] == day)
        chosen[unit] = choice
        for on, options in parts[choice]:
            routes[on].append(options[0])
    start.restore(
        Snapshot(tuple(chosen), tuple(((0, tuple(stops)),) if stops else () for stops in routes), 0)
    )
    return model, start.snapshot()


def _days(model: Model, found: Snapshot) -> dict[str, int]:
    return dict(stops_of(_response(model, found)).keys())


def _two_corners(**more: object) -> Json:
    """Two visits in each of two corners, each once, on either of two days."""
    visits = [visit(f"v{i}", f"p{i}", EITHER) for i in (1, 2, 3, 4)]
    return week(2, FAR_APART, [technician("t1", 2)], visits, **more)


CROSSED = {"v1": 0, "v3": 0, "v2": 1, "v4": 1}


def test_neighbours_on_different_days_are_brought_onto_one() -> None:
    model, crossed = _apart(_two_corners(), CROSSED)

    found = polish_week(Week(model, 1), crossed, 1, _steps(100))

    assert found is not None
    days = _days(model, found)
    assert days["v1"] == days["v2"]
    assert days["v3"] == days["v4"]
    assert _response(model, found)["cost"] == pytest.approx(cheapest_cost(_two_corners()), abs=0.01)


def test_a_visit_stays_on_the_day_it_had_last_week_when_moving_it_costs_more_than_it_saves() -> None:
    """With all four on one day two have moved, and 60 290 m are saved."""
    before = [
        {"technician": "t1", "day": day, "stops": [{"visit": v} for v, on in CROSSED.items() if on == day]}
        for day in (0, 1)
    ]

    def polished(price: int) -> Snapshot | None:
        request = _two_corners(prices={"distance": 1, "moved_visit": price}, previous=before)
        model, crossed = _apart(request, CROSSED)
        return polish_week(Week(model, 1), crossed, 1, _steps(100))

    assert polished(31_000) is None
    assert polished(30_000) is not None


def test_a_visit_is_not_moved_to_a_day_without_a_person_for_it() -> None:
    people = [
        technician("t1", 2, shifts=[shift(0)], skills=["electrics"]),
        technician("t2", 2, shifts=[shift(1)]),
    ]
    visits = [visit("v1", "p1", EITHER, needs=["electrics"]), visit("v2", "p2", EITHER)]
    model, crossed = _apart(week(2, FAR_APART, people, visits), {"v1": 0, "v2": 1})

    found = polish_week(Week(model, 1), crossed, 1, _steps(100))

    assert found is not None
    assert _days(model, found) == {"v1": 0, "v2": 0}


def test_what_is_due_twice_or_has_hours_of_its_own_on_a_day_keeps_its_days() -> None:
    visits = [
        visit("once", "p1", EITHER),
        visit("twice", "p2", [[0, 1], [1, 2]]),
        visit("hours", "p3", EITHER, windows=[{"day": 0, "from": 9 * HOUR, "to": 10 * HOUR}]),
        visit("one_day", "p3", [[1]]),
    ]
    model = _model(week(3, LINE, [technician("t1", 3)], visits))

    names = {model.problem.visits[model.catalogue.units[unit].visits[0]].id for unit in movable(model)}

    assert names == {"once"}
    assert share_joinable(model) == pytest.approx(1 / 5)


def test_days_are_not_joined_where_jobs_must_stay_together() -> None:
    visits = [visit("v1", "p1", EITHER), visit("v2", "p2", EITHER, together_with=["v1"])]
    visits += [visit(f"w{i}", "p3", EITHER) for i in range(4)]

    assert share_joinable(_model(week(2, LINE, [technician("t1", 2)], visits))) == 0


@pytest.mark.parametrize("seed", range(8))
def test_tiny_weeks_of_visits_due_once_become_the_best_there_is(seed: int) -> None:
    """Against the set-partitioning oracle (highspy 1.16); the joint problem holds all of such a week."""
    rng = random.Random(seed)
    points = [(rng.randint(0, 40), rng.randint(0, 40)) for _ in range(7)]
    visits = [visit(f"v{i}", f"p{i}", rng.choice([EITHER, [[0], [1], [2]], [[1], [2]]])) for i in range(1, 7)]
    people = [technician(f"t{i}", 3, capacity=2) for i in range(2)]
    request = week(3, points, people, visits)
    model = _model(request)
    start = first_week(model, seed)

    found = polish_week(Week(model, 1), start.snapshot(), seed, _steps(500)) or start.snapshot()

    assert _response(model, found)["cost"] == pytest.approx(cheapest_cost(request), abs=0.01)


def test_a_week_planned_with_joined_days_is_the_same_every_time() -> None:
    rng = random.Random(5)
    points = [(rng.randint(0, 40), rng.randint(0, 40)) for _ in range(16)]
    visits = [visit(f"v{i}", f"p{i}", [[0], [1], [2]]) for i in range(1, 16)]
    request = week(3, points, [technician("t1", 3, capacity=6)], visits)

    plans = [plan(request, Effort(iterations=200, processes=2)) for _ in range(2)]

    assert share_joinable(_model(request)) == 1
    assert plans[0]["routes"] == plans[1]["routes"]
    assert broken_rules(request, plans[0]) == []


@some
@given(rich_weeks())
def test_whatever_a_week_asks_for_is_kept_when_its_days_are_joined(request_: Json) -> None:
    model = _model(request_)
    if not model.catalogue.units:
        return
    start = first_week(model, 1).snapshot()

    found = polish_week(Week(model, 1), start, 1, _steps(50))

    if found is not None:
        response = _response(model, found)
        assert found.cost < start.cost
        assert broken_rules(request_, response) == []
        assert response["cost"] == pytest.approx(true_cost(request_, response), abs=0.01)
