"""Putting back visits that share a technician or follow each other."""

import random
from collections.abc import Sequence

import pyvrp

from .board import Board, BoardRoute, Place
from .patterns import DayWork
from .taste import Taste
from .week import Week

Arrangement = tuple[int, list[Place]]
"""Cost, and the places of all jobs of a day in the order in which they are put."""


def put_back_linked(
    week: Week, unit: int, prices: pyvrp.CostEvaluator, rng: random.Random, taste: Taste
) -> set[int]:
    """Insert a linked unit by its cheapest choice, or leave it out; returns the days touched."""
    model = week.model.catalogue.units[unit]
    known: dict[DayWork, Arrangement] = {}
    best, best_cost = None, model.drop * taste.eagerness
    for number, choice in enumerate(model.choices):
        if len(model.choices) > 1 and rng.random() < taste.skipped:
            continue
        for work in choice.work:
            if work not in known:
                known[work] = _best_arrangement(week.board(work.day), work, prices)
        cost = float(choice.constant + sum(known[work][0] for work in choice.work))
        cost *= 1 + taste.noise * rng.random()
        if cost < best_cost:
            best, best_cost = number, cost
    week.chosen[unit] = best
    if best is None:
        return set()
    for work in model.choices[best].work:
        for place in known[work][1]:
            week.board(work.day).put(place)
    return {work.day for work in model.choices[best].work}


def mend_together(week: Week, day: int, prices: pyvrp.CostEvaluator) -> bool:
    """Bring jobs that local search has parted back to one technician; whether anything was moved."""
    board, moved = week.board(day), False
    for unit in week.linked_on[day]:
        choice = week.chosen[unit]
        if choice is None:
            continue
        for work in week.model.catalogue.units[unit].choices[choice].work:
            if work.day == day:
                moved = any([_mend(board, work, group, prices) for group in work.together]) or moved  # noqa: C419
    return moved


def _mend(board: Board, work: DayWork, group: Sequence[int], prices: pyvrp.CostEvaluator) -> bool:
    jobs = [board.day.options.of_job[work.jobs[position]] for position in group]
    home = board.route_of(jobs[0])
    strays = [options for options in jobs[1:] if board.route_of(options) is not home]
    for options in strays:
        in_use = next(option for option in options if board.holds(option))
        board.take_off([in_use])
        assert home is not None
        board.put(board.best_place_in(in_use, home, prices))
    return bool(strays)


def _best_arrangement(board: Board, work: DayWork, prices: pyvrp.CostEvaluator) -> Arrangement:
    """The cheapest way found to place all jobs of a day, tried one after the other and taken off again."""
    found = [
        _arrange(board, work, alternatives, first, prices)
        for alternatives in _ways(board, work)
        for first in (_candidates(board) if work.together else [None])
    ]
    return min(found, key=lambda arrangement: arrangement[0])


def _ways(board: Board, work: DayWork) -> list[list[tuple[int, ...]]]:
    """For each way to time the jobs: the options to choose from, job by job."""
    if work.bundles:
        return board.day.options.ways[work]
    return [[board.day.options.of_job[job] for job in work.jobs]]


def _candidates(board: Board) -> list[BoardRoute]:
    """Every route in use, and one idle vehicle of each kind."""
    routes, idle = [], set()
    for route in board.routes:
        if route.num_clients():
            routes.append(route)
        elif route.vehicle_type not in idle:
            idle.add(route.vehicle_type)
            routes.append(route)
    return routes


def _arrange(
    board: Board,
    work: DayWork,
    alternatives: Sequence[Sequence[int]],
    first: BoardRoute | None,
    prices: pyvrp.CostEvaluator,
) -> Arrangement:
    """Place the jobs in turn; the first group that is together goes to the route given."""
    group_of = {position: g for g, group in enumerate(work.together) for position in group}
    homes: dict[int, BoardRoute] = {} if first is None else {0: first}
    places: list[Place] = []
    for position, options in enumerate(alternatives):
        home = homes.get(group_of.get(position, -1))
        if home is None:
            place = board.best_place(options, prices)
        else:
            tried = [board.best_place_in(option, home, prices) for option in options]
            place = min(tried, key=lambda p: p.cost)
        if position in group_of:
            homes.setdefault(group_of[position], place.route)
        board.put(place)
        places.append(place)
    for options in alternatives:
        board.take_off(options)
    return sum(place.cost for place in places), places
