"""Which units to take off their days at once, so that they can be put back better."""

import random
from dataclasses import dataclass

import numpy as np

from .board import Board
from .week import Model, Week, units_by_option

NEAREST = 60
"""Neighbours remembered for each unit."""
CHOOSY_SEED = 0.8
"""Share of ruins that start from a unit with several choices, when there is one."""
WHOLE_UNIT = 0.2
"""Share of cases in which a unit without choice leaves all its days, not one."""
EMPTIEST = 0.7
"""Share of removed routes that are the emptiest of their day."""

Removal = tuple[int, int | None]
"""A unit, and the one day it is taken from; None for all its days."""


@dataclass(frozen=True, slots=True)
class Style:
    """``most``: units taken off at once. ``whole_route``: share of ruins that empty a route."""

    most: int
    whole_route: float


LARGE = Style(15, 0.15)
SMALL = Style(8, 0.08)
STYLES = (LARGE, SMALL)
"""Style of each process in turn."""


class Ruin:
    """Picks what to remove, or which vehicles to exchange."""

    def __init__(self, model: Model, style: Style) -> None:
        self.model = model
        self.style = style
        self.nearest = _nearest(model)
        self.unit_of = units_by_option(model)
        self.choosy = [u for u, unit in enumerate(model.catalogue.units) if len(unit.choices) > 1]

    def pick(self, week: Week, rng: random.Random) -> list[Removal]:
        """Units near each other, or those of one route."""
        if rng.random() < self.style.whole_route:
            return self._route(week, rng)
        units = self.model.catalogue.units
        choosy = self.choosy and rng.random() < CHOOSY_SEED
        seed = rng.choice(self.choosy) if choosy else rng.randrange(len(units))
        count = rng.randrange(self.style.most)
        removals = []
        for unit in [seed, *self.nearest[seed][:count]]:
            removal = self._removal(week, unit, rng)
            if removal is not None:
                removals.append(removal)
        return removals

    def exchange(self, week: Week, rng: random.Random) -> int | None:
        """Let two unlike vehicles of a day drive each other's stops; the day, if there were two."""
        board = rng.choice(week.live_boards())
        used = [route for route in board.routes if route.num_clients()]
        if not used or len(board.day.types) < 2:
            return None
        one = rng.choice(used)
        others = [route for route in board.routes if route.vehicle_type != one.vehicle_type]
        board.exchange(one, rng.choice(others))
        return board.day.day

    def _removal(self, week: Week, unit: int, rng: random.Random) -> Removal | None:
        """All days of a unit with a choice; one random day of a unit without."""
        choice = week.chosen[unit]
        if choice is None:
            return None
        parts = self.model.parts[unit]
        if len(self.model.catalogue.units[unit].choices) > 1 or not parts or len(parts[0]) == 1:
            return unit, None
        if rng.random() < WHOLE_UNIT:
            return unit, None
        return unit, rng.choice(parts[choice])[0]

    def _route(self, week: Week, rng: random.Random) -> list[Removal]:
        board = rng.choice(week.live_boards())
        used = [route for route in board.routes if route.num_clients()]
        if not used:
            return []
        route = rng.choice(used)
        if rng.random() < EMPTIEST:
            route = min(used, key=lambda r: r.num_clients())
        units = dict.fromkeys(self.unit_of[board.day.day][o] for o in board.options_in(route))
        return [self._from_route(board, unit) for unit in units]

    def _from_route(self, board: Board, unit: int) -> Removal:
        if len(self.model.catalogue.units[unit].choices) > 1 or not self.model.parts[unit]:
            return unit, None
        return unit, board.day.day


def _nearest(model: Model) -> list[list[int]]:
    """For each unit the nearest others by the cost of driving between their first visits."""
    places = [model.problem.visits[unit.visits[0]].location for unit in model.catalogue.units]
    drives = model.costs.drives[np.ix_(places, places)]
    apart = np.minimum(drives, drives.T)
    np.fill_diagonal(apart, -1)
    order = np.argsort(apart, axis=1, kind="stable")[:, 1 : NEAREST + 1]
    nearest: list[list[int]] = order.tolist()
    return nearest
