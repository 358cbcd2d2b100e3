"""The first week: last week's plan where there is one, the rest put in greedily, limits kept."""

import random
from collections.abc import Iterable

import numpy as np

from .board import Board, Routes, solution_from
from .costs import Costs
from .patterns import Choice, Unit
from .problem import NO_ROAD_TICKS, Problem
from .recreate import put_back
from .taste import EXACT
from .week import Model, Penalties, Week, units_by_option

HARD = 1000.0
"""Factor on the first penalties that makes breaking a limit dearer than leaving a visit out."""


def first_penalties(model: Model) -> Penalties:
    """Those that a search begins with."""
    return usual_penalties(model.problem, model.costs)


def usual_penalties(problem: Problem, costs: Costs) -> Penalties:
    """A load or a time too much costs about what it costs to carry or to drive it."""
    reachable = problem.travel < NO_ROAD_TICKS
    ticks = float(problem.travel[reachable].mean()) if reachable.any() else 1.0
    drive = float(costs.drives[reachable].mean()) + costs.duration * ticks if reachable.any() else 1.0
    loads = [visit.load for visit in problem.visits if visit.load] or [1]
    return Penalties(
        load=max(1.0, 2 * drive / float(np.mean(loads))), time=max(0.1, 2 * drive / max(ticks, 1.0))
    )


def hard_penalties(model: Model) -> Penalties:
    """Breaking a limit costs more than leaving a visit out."""
    first = first_penalties(model)
    return Penalties(first.load * HARD, first.time * HARD)


def first_week(model: Model, seed: int) -> Week:
    """A week within all limits; whoever does not fit is left out for now."""
    week = Week(model, seed)
    load_previous(week)
    hard = hard_penalties(model)
    prices, rng = hard.evaluator(), random.Random(seed)
    for unit in sorted(week.unserved(), key=lambda u: _order(model, u)):
        put_back(week, unit, prices, rng, EXACT)
    week.accept_days(board.day.day for board in week.live_boards())
    improve(week, hard)
    settle(week)
    return week


def _order(model: Model, unit: int) -> tuple[int, int, int]:
    """Fewest choices first, then the largest load and the longest work."""
    item, visits = model.catalogue.units[unit], model.problem.visits
    times = max(len(choice.work) for choice in item.choices)
    load = times * sum(visits[v].load for v in item.visits)
    return len(item.choices), -load, -times * sum(visits[v].service for v in item.visits)


def improve(week: Week, penalties: Penalties) -> None:
    """Local search on every day, kept where it helps."""
    prices = penalties.evaluator()
    for board in week.live_boards():
        solution = board.search(board.accepted, prices)
        cost = board.cost_of(solution)
        if not week.linked_on[board.day.day] and penalties.of(cost) < penalties.of(board.cost):
            board.accept(solution, cost)
        else:
            board.go_back()


def settle(week: Week) -> None:
    """Take visits off the rounds that break a limit until none does."""
    unit_of = units_by_option(week.model)
    while True:
        broken = [(board, route) for board in week.live_boards() for route in board.broken_routes()]
        if not broken:
            return
        board, (vehicle_type, options) = broken[0]
        units = dict.fromkeys(unit_of[board.day.day][option] for option in options)
        worst = max(units, key=lambda unit: _relief(week, board, vehicle_type, options, unit))
        week.accept_days(week.take_off(worst))


def _relief(week: Week, board: Board, vehicle_type: int, options: tuple[int, ...], unit: int) -> float:
    """Excess a round loses without a unit, per cost of leaving the unit out."""
    choice = week.chosen[unit]
    assert choice is not None
    gone = {o for day, opts in week.work_options(unit, choice) if day == board.day.day for o in opts}
    saved = board.relief(vehicle_type, options, gone)
    return saved / week.model.catalogue.units[unit].drop if saved > 0 else saved - 1e12


def load_previous(week: Week) -> None:
    """Bring the routes of the previous plan onto the boards, as far as they still can be driven."""
    problem = week.model.problem
    if not problem.previous:
        return
    for number, unit in enumerate(week.model.catalogue.units):
        week.chosen[number] = _previous_choice(problem, unit)
    for board in week.live_boards():
        routes = _previous_routes(week, board)
        held = {option for _, options in routes for option in options}
        solution = solution_from(board.day.data, routes)
        board.load(solution)
        _forget_missing(week, board, held)
    week.accept_days(board.day.day for board in week.live_boards())


def _previous_choice(problem: Problem, unit: Unit) -> int | None:
    """The choice with exactly the days of the previous plan, for a unit that is not linked."""
    if unit.is_linked:
        return None
    days = {visit: tuple(sorted(problem.previous_days.get(visit, ()))) for visit in unit.visits}
    return next((i for i, choice in enumerate(unit.choices) if _days(choice, days)), None)


def _days(choice: Choice, days: dict[int, tuple[int, ...]]) -> bool:
    wanted = tuple(work.day for work in choice.work)
    return all(found == wanted for found in days.values())


def _previous_routes(week: Week, board: Board) -> Routes:
    """Routes of the day in the previous order, each on a shift of the same technician."""
    day, problem = board.day, week.model.problem
    due = _due(week, day.day)
    free = {v: t for t, vehicles in enumerate(day.types) for v in vehicles}
    routes, used = [], set[int]()
    for route in problem.previous or ():
        vehicle = next((v for v in free if day.vehicles[v].technician == route.technician), None)
        if route.day != day.day or vehicle is None:
            continue
        options = dict.fromkeys(
            due[visit] for visit in route.visits if visit in due and due[visit] not in used
        )
        if options:
            used.update(options)
            routes.append((free.pop(vehicle), tuple(options)))
    return tuple(routes)


def _due(week: Week, day: int) -> dict[int, int]:
    """Visits to be done on a day by their units' choices: the option to use for each."""
    found: dict[int, int] = {}
    for unit, choice in enumerate(week.chosen):
        if choice is None:
            continue
        for at, options in week.work_options(unit, choice):
            if at == day:
                found.update(dict.fromkeys(week.model.catalogue.units[unit].visits, options[0]))
    return found


def _forget_missing(week: Week, board: Board, held: Iterable[int]) -> None:
    """A unit whose visit found no vehicle on some day starts without a choice."""
    kept = set(held)
    for unit, choice in enumerate(week.chosen):
        if choice is None:
            continue
        for day, options in week.work_options(unit, choice):
            if day == board.day.day and not kept.intersection(options):
                week.take_off(unit)
                break
