"""Routes met on the way: for every day, kind of vehicle and set of jobs the cheapest order seen."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice

import pyvrp

from .board import Board, route_of
from .week import Model

MOST_SHAPES = 20_000
"""Routes kept; the ones that were longest not met are forgotten first."""
MOST_TEXTS = 100_000

Key = tuple[int, int, frozenset[int]]
"""Day, vehicle type, and the jobs as the numbers of their interchangeable options."""


@dataclass(frozen=True, slots=True)
class Shape:
    """A route within all limits: its day, vehicle type, options in order, and exact cost."""

    day: int
    vehicle_type: int
    options: tuple[int, ...]
    cost: int


class Pool:
    """A bounded number of routes without doubles."""

    def __init__(self, model: Model, most: int = MOST_SHAPES) -> None:
        self.model = model
        self.most = most
        self.alike = [{} if day is None else alike_options(day.options.alternatives()) for day in model.days]
        self._shapes: dict[Key, Shape] = {}
        self._fresh: dict[Key, Shape] = {}
        self._keys: dict[tuple[int, int, str], Key] = {}
        """What a route's text says is found far sooner than its stops."""

    def shapes(self) -> list[Shape]:
        """All routes, the latest last."""
        return list(self._shapes.values())

    def key_of(self, shape: Shape) -> Key:
        """What two routes have in common that can take each other's place."""
        alike = self.alike[shape.day]
        return shape.day, shape.vehicle_type, frozenset(alike[option] for option in shape.options)

    def note(self, board: Board, solution: pyvrp.Solution) -> None:
        """Remember a day's routes that keep their limits."""
        day = board.day.day
        for route in solution.routes():
            if not route.is_feasible():
                continue
            text = (day, route.vehicle_type(), str(route))
            key = self._keys.get(text)
            if key in self._shapes:
                self._shapes[key] = self._shapes.pop(key)
                continue
            shape = _shape(board, route)
            if shape is not None:
                if len(self._keys) >= MOST_TEXTS:
                    self._keys.clear()
                self._keys[text] = self.key_of(shape)
                self.add([shape])

    def add(self, shapes: Iterable[Shape]) -> None:
        """Remember routes, perhaps of another process."""
        for shape in shapes:
            key = self.key_of(shape)
            known = self._shapes.pop(key, None)
            if known is None or shape.cost < known.cost:
                self._fresh[key] = known = shape
            self._shapes[key] = known
            for held in (self._shapes, self._fresh):
                if len(held) > self.most:
                    del held[next(iter(held))]

    def take_fresh(self, most: int) -> list[Shape]:
        """The latest routes that are new since this was last asked, at most so many."""
        fresh = list(islice(reversed(self._fresh.values()), most))
        self._fresh.clear()
        return fresh[::-1]


def alike_options(alternatives: Iterable[tuple[int, ...]]) -> dict[int, int]:
    """For every option the first of those that stand for the same job at the same span of time."""
    return {option: options[0] for options in alternatives for option in options}


def _shape(board: Board, route: pyvrp.Route) -> Shape | None:
    """The route as plain numbers; None if its exact times break a limit that PyVRP cannot see."""
    vehicle_type, options = route_of(route)
    if board.day.is_exact:
        cost = route.distance_cost() + route.duration_cost() + route.fixed_vehicle_cost()
        return Shape(board.day.day, vehicle_type, options, cost)
    exact = board.route_cost(vehicle_type, options)
    return Shape(board.day.day, vehicle_type, options, exact.cost) if exact.is_feasible else None
