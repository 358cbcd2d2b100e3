"""Putting units back: the cheapest of their choices under the current penalties, with a little noise."""

import random

import pyvrp

from .board import Place
from .linked import put_back_linked
from .taste import Taste
from .week import Part, Week


def put_back(
    week: Week, unit: int, prices: pyvrp.CostEvaluator, rng: random.Random, taste: Taste
) -> set[int]:
    """Insert a unit by its cheapest choice, or leave it out when that is cheaper still.

    Returns the days touched.
    """
    if not week.model.parts[unit]:
        return put_back_linked(week, unit, prices, rng, taste)
    model = week.model.catalogue.units[unit]
    places: dict[Part, Place] = {}
    best, best_cost = None, model.drop * taste.eagerness
    for choice, parts in enumerate(week.model.parts[unit]):
        if len(model.choices) > 1 and taste.skipped and rng.random() < taste.skipped:
            continue
        cost = 0.0
        for part in parts:
            if part not in places:
                places[part] = week.board(part[0]).best_place(part[1], prices)
            cost += places[part].cost
        if taste.noise:
            cost += abs(cost) * taste.noise * rng.random()
        cost += model.choices[choice].constant
        if cost < best_cost:
            best, best_cost = choice, cost
    week.chosen[unit] = best
    if best is None:
        return set()
    for part in week.model.parts[unit][best]:
        week.board(part[0]).put(places[part])
    return {day for day, _ in week.model.parts[unit][best]}


def put_back_on(week: Week, unit: int, day: int, prices: pyvrp.CostEvaluator) -> None:
    """Insert a unit again on one of the days of its choice."""
    board = week.board(day)
    board.put(board.best_place(week.options_on(unit, day), prices))
