"""The routes that are remembered: no doubles, the cheapest order, none that breaks a limit."""

from service.rounds.solver.board import solution_from
from service.rounds.solver.pool import Pool, Shape
from service.rounds.solver.request import read_problem
from service.rounds.solver.week import Model, Week, build_model

from .weeks import HOUR, shift, technician, visit, week

LINE = [(0, 0), (10, 0), (20, 0), (30, 0)]


def _model(*, hours: int = 9) -> Model:
    people = [technician("t1", 1, shifts=[shift(0, 8 * HOUR, (8 + hours) * HOUR)])]
    return build_model(
        read_problem(week(1, LINE, people, [visit(f"v{i}", f"p{i}", [[0]]) for i in (1, 2, 3)]))
    )


def _note(pool: Pool, *orders: tuple[int, ...]) -> None:
    board = Week(pool.model, 1).board(0)
    for order in orders:
        pool.note(board, solution_from(board.day.data, ((0, order),)))


def test_of_two_orders_of_the_same_visits_the_cheaper_is_kept() -> None:
    pool = Pool(_model())

    _note(pool, (1, 0, 2), (0, 1, 2), (0, 2, 1))

    assert [shape.options for shape in pool.shapes()] == [(0, 1, 2)]


def test_a_route_longer_than_the_shift_is_not_kept() -> None:
    pool = Pool(_model(hours=2))

    _note(pool, (0, 1, 2), (0, 1))

    assert [shape.options for shape in pool.shapes()] == [(0, 1)]


def test_the_route_not_met_for_longest_is_forgotten_first() -> None:
    pool = Pool(_model(), most=2)

    _note(pool, (0,), (1,), (0,), (2,))

    assert [shape.options for shape in pool.shapes()] == [(0,), (2,)]


def test_only_routes_that_are_new_are_passed_on() -> None:
    pool = Pool(_model())
    pool.add([Shape(0, 0, (0,), 5)])
    assert [shape.options for shape in pool.take_fresh(9)] == [(0,)]

    pool.add([Shape(0, 0, (0,), 7), Shape(0, 0, (1,), 7), Shape(0, 0, (2,), 7)])

    assert [shape.options for shape in pool.take_fresh(1)] == [(2,)]
    assert pool.take_fresh(9) == []
