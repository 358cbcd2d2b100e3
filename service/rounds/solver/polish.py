"""PyVRP's complete solver on a plan that the search has found: on one day, or on all days at once."""

import warnings
from collections.abc import Callable

import pyvrp
from pyvrp.exceptions import PenaltyBoundWarning
from pyvrp.search import LocalSearch, PerturbationManager, compute_neighbours

from .board import Board, Routes, solution_from
from .joint import Joint, Stop, cells_of, chosen_by, movable, share_movable, stops_of
from .recombine import keeps_links
from .start import usual_penalties
from .week import Model, Snapshot, Week

Stops = Callable[[float], bool]
"""Asked with the best cost before every iteration, as PyVRP's stop criteria are."""

FIRST_PENALTY, MOST_PENALTY = 0.5, 10.0
"""What breaking a limit costs at first, and at most, in usual penalties."""
ADAPT_EVERY = 50
"""Weeks seen between two changes of the penalties; PyVRP's usual 500 take longer than there is time."""
LEAST_MOVABLE = 0.15
"""Share of movable visits below which the days are not joined."""
MOST_CELLS = 20_000_000
"""Numbers that a joint problem may hold, eight bytes each; above it the days are not joined."""


def share_joinable(model: Model) -> float:
    """How much of the week ``polish_week`` can move: 0…1; 0 where it is not worth trying.

    Jobs that one person must do together would be torn apart.
    """
    share = share_movable(model)
    is_linked = any(unit.is_linked for unit in model.catalogue.units)
    return 0.0 if is_linked or share < LEAST_MOVABLE or cells_of(model) > MOST_CELLS else share


def polish_day(board: Board, routes: Routes, seed: int, stop: Stops) -> Routes:
    """Better routes for the same jobs, or the routes given when none are found."""
    number = board.day.day
    stops = [Stop({number: option}, {number: 0}) for option in _options(routes)]
    if len(stops) < 2:
        return routes
    found = _solved(Joint([board.day], stops), {number: routes}, seed, stop)
    return found[number] if found and _is_better(board, routes, found[number]) else routes


def polish_week(week: Week, best: Snapshot, seed: int, stop: Stops) -> Snapshot | None:
    """A week cheaper than ``best``, or None. Visits due once may move, the others keep their days.

    The week is used to try it out, and left as it happens to be.
    """
    model = week.model
    moving = movable(model)
    days = [day for day in model.days if day is not None]
    stops = stops_of(model, best, moving)
    joint = Joint(days, stops)
    if len(stops) < 2:
        return None
    routes = {day.day: best.routes[day.day] for day in days}
    found = _solved(joint, routes, seed, stop)
    if found is None:
        return None
    chosen = list(best.chosen)
    for unit, choice in chosen_by(found, moving):
        chosen[unit] = choice
    all_days = tuple(found.get(day, ()) for day in range(len(model.days)))
    week.restore(Snapshot(tuple(chosen), all_days, 0))
    better = week.snapshot()
    is_better = week.is_feasible() and better.cost < best.cost and keeps_links(week, better)
    return better if is_better else None


def _solved(joint: Joint, routes: dict[int, Routes], seed: int, stop: Stops) -> dict[int, Routes] | None:
    """PyVRP's complete solver, put together as ``pyvrp.solve`` does it, with our own first penalties."""
    data, usual = joint.data, pyvrp.SolveParams()
    search = LocalSearch(
        data,
        pyvrp.RandomNumberGenerator(seed=seed),
        compute_neighbours(data, usual.neighbourhood),
        PerturbationManager(usual.perturbation),
    )
    for move in usual.operators:
        if move.supports(data):
            search.add_operator(move(data))
    solver = pyvrp.IteratedLocalSearch(data, _penalties(joint), search, joint.solution(routes), usual.ils)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", PenaltyBoundWarning)  # forbidden drives outweigh any penalty
        result = solver.run(stop, collect_stats=False)  # type: ignore[arg-type]
    return joint.routes(result.best)


def _penalties(joint: Joint) -> pyvrp.PenaltyManager:
    usual = usual_penalties(joint.days[0].problem, joint.days[0].costs)
    most = MOST_PENALTY * max(usual.load, usual.time)
    first = [FIRST_PENALTY * usual.load], FIRST_PENALTY * usual.time, 1.0
    params = pyvrp.PenaltyParams(solutions_between_updates=ADAPT_EVERY, max_penalty=most)
    return pyvrp.PenaltyManager(first, params)


def _is_better(board: Board, old: Routes, new: Routes) -> bool:
    if sorted(_options(old)) != sorted(_options(new)):
        return False
    data = board.day.data
    before, after = board.cost_of(solution_from(data, old)), board.cost_of(solution_from(data, new))
    return after.is_feasible and after.cost < before.cost


def _options(routes: Routes) -> list[int]:
    return [option for _, options in routes for option in options]
