"""The end of the search: each day on its own, its jobs fixed, improved by PyVRP's complete solver."""

import warnings
from collections.abc import Callable

import pyvrp
from pyvrp.exceptions import PenaltyBoundWarning

from .board import Board, Routes, routes_of, solution_from


def polish_day(board: Board, routes: Routes, seed: int, stop: Callable[[float], bool]) -> Routes:
    """Better routes for the same jobs, or the routes given when none are found.

    ``stop`` is asked with the best cost before every iteration, as PyVRP's stop criteria are.
    """
    chosen = [option for _, options in routes for option in options]
    if len(chosen) < 2:
        return routes
    data = board.day.build(chosen, required=True)
    number = {option: i for i, option in enumerate(chosen)}
    start = tuple((t, tuple(number[option] for option in options)) for t, options in routes)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", PenaltyBoundWarning)  # forbidden drives outweigh any penalty
        result = pyvrp.solve(
            data,
            stop,  # type: ignore[arg-type]
            seed=seed,
            collect_stats=False,
            display=False,
            initial_solution=solution_from(data, start),
        )
    found = tuple((t, tuple(chosen[i] for i in options)) for t, options in routes_of(result.best))
    return found if _is_better(board, routes, found) else routes


def _is_better(board: Board, old: Routes, new: Routes) -> bool:
    data = board.day.data
    before, after = board.cost_of(solution_from(data, old)), board.cost_of(solution_from(data, new))
    return after.is_feasible and after.cost < before.cost
