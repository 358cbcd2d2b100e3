"""Weeks put together from known routes: the best there is when every route is known, and always drivable."""

import itertools

import pytest
from hypothesis import HealthCheck, given, settings

from service.rounds.solver.explain import finish
from service.rounds.solver.plan import plan_from
from service.rounds.solver.pool import Pool, Shape
from service.rounds.solver.recombine import recombine
from service.rounds.solver.request import read_problem
from service.rounds.solver.response import plan_response
from service.rounds.solver.ruin import LARGE
from service.rounds.solver.search import Manner, Search
from service.rounds.solver.start import first_penalties, first_week
from service.rounds.solver.week import Model, Snapshot, Week, build_model

from .checker import broken_rules, true_cost
from .oracle import cheapest_cost
from .tiny import tiny_week
from .weeks import HOUR, Json, rich_weeks, stops_of, technician, visit, week, weeks_of_large_sites

TINY = range(12)
"""Seeds of tiny weeks in which all can be served that must be."""
LINE = [(0, 0), (10, 0), (20, 0), (30, 0)]
some = settings(
    max_examples=50,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.large_base_example],
)


def _nothing_planned(model: Model) -> Snapshot:
    units = model.catalogue.units
    return Snapshot((None,) * len(units), ((),) * len(model.days), sum(unit.drop for unit in units))


def _every_route(model: Model) -> Pool:
    """All orders of all sets of jobs for every vehicle of every day, as far as they keep the limits."""
    pool, boards = Pool(model, most=10**6), Week(model, seed=1).live_boards()
    for board in boards:
        options = board.day.options
        for size in range(1, len(options.of_job) + 1):
            for order in itertools.permutations(range(len(options.all)), size):
                if len({options.all[option].job for option in order}) < size:
                    continue
                for vehicle_type in range(len(board.day.types)):
                    cost = board.route_cost(vehicle_type, order)
                    if cost.is_feasible:
                        pool.add([Shape(board.day.day, vehicle_type, order, cost.cost)])
    return pool


def _response(model: Model, found: Snapshot) -> Json:
    plan = plan_from(model, found)
    finish(plan, model.screening)
    return plan_response(plan, seconds=0.0)


@pytest.mark.parametrize("seed", TINY)
def test_with_every_route_known_the_best_possible_week_is_put_together(seed: int) -> None:
    request = tiny_week(seed)
    model = build_model(read_problem(request))

    found = recombine(Week(model, 1), _every_route(model), _nothing_planned(model), None)

    assert found is not None
    response = _response(model, found)
    assert broken_rules(request, response) == []
    assert response["cost"] == pytest.approx(cheapest_cost(request), abs=0.01)


def test_linked_visits_stay_together_and_in_their_order() -> None:
    people = [technician("t1", 2, skills=["electrics"]), technician("t2", 2)]
    visits = [
        visit("drain", "p1", [[0], [1]], needs=["electrics"]),
        visit("beside", "p1", [[0], [1]], together_with=["drain"], service=HOUR),
        visit("retest", "p1", [[0], [1]], after={"visit": "drain", "min_gap": 3 * HOUR}),
        visit("pinned", "p3", [[0], [1]], pinned={"technician": "t2", "day": 1, "from": 10 * HOUR}),
    ]
    request = week(2, LINE, people, visits)
    model = build_model(read_problem(request))

    found = recombine(Week(model, 1), _every_route(model), _nothing_planned(model), None)

    assert found is not None
    response = _response(model, found)
    assert (broken_rules(request, response), response["unserved"]) == ([], [])
    by_name = {name: stop for (name, _), stop in stops_of(response).items()}
    assert by_name["drain"]["technician"] == by_name["beside"]["technician"] == "t1"
    assert by_name["retest"]["start"] >= by_name["drain"]["leave"] + 3 * HOUR


def test_a_job_in_two_known_routes_is_left_in_the_one_that_needs_it_least_far() -> None:
    """Of the two routes known for the one day both hold v2; only together do they serve all."""
    request = week(
        1, LINE, [technician(f"t{i}", 1) for i in (1, 2)], [visit(f"v{i}", f"p{i}", [[0]]) for i in (1, 2, 3)]
    )
    model = build_model(read_problem(request))
    board = Week(model, 1).live_boards()[0]
    pool = Pool(model)
    pool.add(Shape(0, 0, order, board.route_cost(0, order).cost) for order in ((0, 1), (1, 2)))

    found = recombine(Week(model, 1), pool, _nothing_planned(model), None)

    assert found is not None
    response = _response(model, found)
    assert (broken_rules(request, response), response["unserved"]) == ([], [])


def test_nothing_is_put_together_when_the_best_week_is_known() -> None:
    model = build_model(read_problem(tiny_week(TINY[0])))
    pool = _every_route(model)
    best = recombine(Week(model, 1), pool, _nothing_planned(model), None)

    assert best is not None
    assert recombine(Week(model, 1), pool, best, None) is None


def _recombined_keeps_every_limit(request: Json) -> None:
    """Search a little, then put the routes met together against the week that is emptiest."""
    model = build_model(read_problem(request))
    if not model.catalogue.units:
        return
    searched = first_week(model, 1)
    search = Search(searched, first_penalties(model), LARGE, 1, Manner())
    for step in range(60):
        search.step(step / 60)

    found = recombine(searched, search.pool, _nothing_planned(model), None)

    if found is not None:
        response = _response(model, found)
        assert broken_rules(request, response) == []
        assert response["cost"] == pytest.approx(true_cost(request, response), abs=0.01)


@some
@given(rich_weeks())
def test_a_recombined_week_keeps_every_limit(request: Json) -> None:
    _recombined_keeps_every_limit(request)


@some
@given(weeks_of_large_sites())
def test_a_recombined_week_of_large_sites_keeps_every_limit(request: Json) -> None:
    _recombined_keeps_every_limit(request)
