"""The inner search of PyVRP, which its documentation does not promise to keep: notices when it changes."""

import math
import random

import pytest
import pyvrp

from service.rounds.solver.board import MANY_STOPS, Board, Place, routes_of, solution_from
from service.rounds.solver.request import read_problem
from service.rounds.solver.start import first_penalties
from service.rounds.solver.week import Model, Week, build_model

from .weeks import HOUR, shift, technician, visit, week


@pytest.fixture
def model() -> Model:
    rng = random.Random(3)
    points = [(rng.randint(0, 40), rng.randint(0, 40)) for _ in range(15)]
    windows = [
        {"day": None, "from": 9 * HOUR, "to": 10 * HOUR},
        {"day": None, "from": 14 * HOUR, "to": 15 * HOUR},
    ]
    visits = [
        visit(
            f"v{i}",
            f"p{i}",
            [[0]],
            windows=windows if i % 3 == 0 else [],
            needs=["electrics"] if i == 5 else [],
        )
        for i in range(1, 15)
    ]
    people = [technician("t1", 1, capacity=9), technician("t2", 1, capacity=9, skills=["electrics"])]
    return build_model(read_problem(week(1, points, people, visits)))


@pytest.fixture
def board(model: Model) -> Board:
    day = model.days[0]
    assert day is not None
    return Board(day, pyvrp.RandomNumberGenerator(seed=1))


def _fill(board: Board, prices: pyvrp.CostEvaluator, jobs: int) -> None:
    for options in list(board.day.options.of_job.values())[:jobs]:
        board.put(board.best_place(options, prices))


def test_the_price_of_a_place_is_what_putting_a_job_there_costs(model: Model, board: Board) -> None:
    penalties = first_penalties(model)
    prices = penalties.evaluator()
    for options in board.day.options.of_job.values():
        before = penalties.of(board.cost_of(board.draft()))

        place = board.best_place(options, prices)
        board.put(place)

        after = penalties.of(board.cost_of(board.draft()))
        assert after - before == pytest.approx(place.cost, abs=2)


def test_local_search_neither_adds_nor_removes_a_job_nor_makes_the_day_dearer(
    model: Model, board: Board
) -> None:
    penalties = first_penalties(model)
    prices = penalties.evaluator()
    _fill(board, prices, 9)
    before = board.draft()

    after = board.search(before, prices)

    jobs = [
        sorted(board.day.options.all[o].job for _, options in routes_of(s) for o in options)
        for s in (before, after)
    ]
    assert jobs[0] == jobs[1]
    assert penalties.of(board.cost_of(after)) <= penalties.of(board.cost_of(before))


def test_on_a_day_with_many_stops_a_job_put_in_the_wrong_place_finds_a_better_one() -> None:
    turns = [2 * math.pi * i / (MANY_STOPS + 2) for i in range(MANY_STOPS + 2)]
    circle = [(round(40 * math.cos(turn)), round(40 * math.sin(turn))) for turn in turns]
    visits = [visit(f"v{i}", f"p{i}", [[0]], service=0) for i in range(1, len(circle))]
    model = build_model(read_problem(week(1, circle, [technician("t1", 1)], visits)))
    board, prices = Week(model, 1).board(0), first_penalties(model).evaluator()
    in_order = tuple(range(len(visits)))
    best = solution_from(board.day.data, ((0, in_order),))
    board.load(best)
    board.accept(best, board.cost_of(best))

    board.take_off([5])
    board.put(Place(0, 5, board.routes[0], 20))
    moved = board.draft()
    found = board.search(moved, prices)

    assert board.cost_of(moved).cost > board.cost.cost
    assert board.cost_of(found).cost == board.cost.cost
    assert sorted(option for _, options in routes_of(found) for option in options) == list(in_order)


def test_taking_a_job_off_and_going_back_restores_the_routes(model: Model, board: Board) -> None:
    prices = first_penalties(model).evaluator()
    _fill(board, prices, 9)
    routes = routes_of(board.draft())
    board.accept(board.draft(), board.cost_of(board.draft()))

    board.take_off(next(iter(board.day.options.of_job.values())))
    assert routes_of(board.draft()) != routes
    board.go_back()

    assert routes_of(board.draft()) == routes


def test_exchanging_two_vehicles_exchanges_their_stops(model: Model, board: Board) -> None:
    _fill(board, first_penalties(model).evaluator(), 14)
    before = dict(routes_of(board.draft()))

    board.exchange(board.routes[0], board.routes[1])

    assert dict(routes_of(board.draft())) == {0: before[1], 1: before[0]}


def test_a_visit_by_someone_without_the_skill_breaks_a_limit(board: Board) -> None:
    skilled = next(o for o in range(len(board.day.options.all)) if board.day.job(o).visits == (4,))

    by_type = [board.cost_of(solution_from(board.day.data, ((t, (skilled,)),))).is_feasible for t in (0, 1)]

    assert by_type == [False, True]


def test_pyvrp_counts_a_forbidden_drive_as_a_broken_limit(board: Board) -> None:
    """The limit on a route's length must go with the high price, or PyVRP calls the route feasible."""
    skilled = next(o for o in range(len(board.day.options.all)) if board.day.job(o).visits == (4,))

    feasible = [solution_from(board.day.data, ((t, (skilled,)),)).is_feasible() for t in (0, 1)]

    assert feasible == [False, True]


def test_everybody_alike_is_one_vehicle_type() -> None:
    people = [technician("t1", 1), technician("t2", 1), technician("t3", 1, shifts=[shift(0, end=12 * HOUR)])]
    model = build_model(read_problem(week(1, [(0, 0), (5, 0)], people, [visit("v1", "p1", [[0]])])))

    assert model.days[0] is not None
    assert model.days[0].types == [[0, 1], [2]]
