"""Several days as one problem for PyVRP's complete solver: what is due once may move to another day.

Every vehicle of every day is a vehicle of the joint problem, with driving costs of its own that forbid
what is not to be done on its day. Visits due more often, and those whose hours differ from day to day,
stay on the days that are chosen for them.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyvrp
from numpy.typing import NDArray

from .board import Routes, routes_of, solution_from
from .costs import FORBIDDEN
from .day import Day, Pricing
from .jobs import Job
from .week import Model, Snapshot

Choices = Mapping[int, tuple[int, int]]
"""For each day on which a unit may be done: the number of that choice, and the option it means."""

FAR = 8
"""Dearest drives that a forbidden one costs here: the complete solver does badly at a real barrier."""


@dataclass(frozen=True, slots=True)
class Stop:
    """What must be driven to once: an option of each day on which it may be done, and what that costs."""

    options: Mapping[int, int]
    constants: Mapping[int, int]


def movable(model: Model) -> dict[int, Choices]:
    """The units that are due once and are the same work, at the same hours, on every day they may be done."""
    found: dict[int, Choices] = {}
    for unit, parts in enumerate(model.parts):
        if not parts or any(len(choice) != 1 or len(choice[0][1]) != 1 for choice in parts):
            continue
        choices = {choice[0][0]: (number, choice[0][1][0]) for number, choice in enumerate(parts)}
        if 1 < len(choices) == len(parts) and len(set(_looks(model, choices))) == 1:
            found[unit] = choices
    return found


def _looks(model: Model, choices: Choices) -> Iterator[object]:
    for number, (_, option) in choices.items():
        day = model.days[number]
        assert day is not None
        job = day.job(option)
        yield job.location, job.service, job.load, day.options.all[option].clock


def share_movable(model: Model) -> float:
    """Movable visits as a share of all visits due."""
    due = _most_stops(model)
    return len(movable(model)) / due if due else 0.0


def _most_stops(model: Model) -> int:
    return sum(max(len(choice.work) for choice in unit.choices) for unit in model.catalogue.units)


def cells_of(model: Model) -> int:
    """Numbers that the joint problem of a whole week may hold."""
    types = sum(len(day.types) for day in model.days if day is not None)
    return 2 * types * _most_stops(model) ** 2


def stops_of(model: Model, week: Snapshot, moving: Mapping[int, Choices]) -> list[Stop]:
    """All stops of a week; those of the units given may move."""
    stops: list[Stop] = []
    held: set[tuple[int, int]] = set()
    for unit, choices in moving.items():
        if week.chosen[unit] is None:
            continue
        options = {day: option for day, (_, option) in choices.items()}
        held.update(options.items())
        constants = {
            day: model.catalogue.units[unit].choices[number].constant for day, (number, _) in choices.items()
        }
        stops.append(Stop(options, constants))
    for day, routes in enumerate(week.routes):
        staying = (option for _, options in routes for option in options if (day, option) not in held)
        stops += [Stop({day: option}, {day: 0}) for option in staying]
    return stops


class Joint:
    """Some days with the stops to be made on them, each of them once."""

    def __init__(self, days: Sequence[Day], stops: Sequence[Stop]) -> None:
        self.days = days
        self.stops = stops
        self._types = [(day, number) for day in days for number in range(len(day.types))]
        self._depots = sorted({place for day in days for v in day.vehicles for place in day.ends(v)})
        self._day = {day.day: day for day in days}

    @cached_property
    def data(self) -> pyvrp.ProblemData:
        """The problem; client i is ``stops[i]``."""
        depots = self._depots
        places = depots + [self._job(stop).location for stop in self.stops]
        pricing = Pricing(self.days[0].problem, self.days[0].costs, places, len(depots))
        types = [
            day.vehicle_type(day.types[number], depots, pricing.profile(self._entry_costs(day, number)))
            for day, number in self._types
        ]
        return pyvrp.ProblemData(
            [pyvrp.Location(0, 0) for _ in places],
            [self._client(stop, len(depots) + i) for i, stop in enumerate(self.stops)],
            [pyvrp.Depot(i) for i in range(len(depots))],
            types,
            pricing.drives,
            pricing.travel,
        )

    def solution(self, routes: Mapping[int, Routes]) -> pyvrp.Solution:
        """Routes of the days as a solution of the problem."""
        place = {
            (day, option): i for i, stop in enumerate(self.stops) for day, option in stop.options.items()
        }
        number = {(day.day, vehicle_type): i for i, (day, vehicle_type) in enumerate(self._types)}
        joint = tuple(
            (number[day, vehicle_type], tuple(place[day, option] for option in options))
            for day, those in routes.items()
            for vehicle_type, options in those
        )
        return solution_from(self.data, joint)

    def routes(self, solution: pyvrp.Solution) -> dict[int, Routes] | None:
        """The reverse of ``solution``; None when a stop is on a day on which it must not be."""
        found: dict[int, list[tuple[int, tuple[int, ...]]]] = {day.day: [] for day in self.days}
        for number, places in routes_of(solution):
            day, vehicle_type = self._types[number]
            stops = [self.stops[place] for place in places]
            if any(day.day not in stop.options for stop in stops):
                return None
            options = tuple(stop.options[day.day] for stop in stops)
            found[day.day].append((vehicle_type, options))
        return {day: tuple(routes) for day, routes in found.items()}

    @cached_property
    def _far(self) -> int:
        """Cost of what is forbidden: dearer than any detour, yet cheap enough to be passed through."""
        drives = self.days[0].costs.drives
        return FAR * max(int(drives[drives < FORBIDDEN].max(initial=0)), 1) + max(
            (constant for stop in self.stops for constant in stop.constants.values()), default=0
        )

    def _entry_costs(self, day: Day, vehicle_type: int) -> NDArray[np.int64]:
        """Extra cost of every stop for a vehicle of a day."""
        far = self._far
        extra = np.full(len(self.stops), far, dtype=np.int64)
        row = day.entry_costs[day.types[vehicle_type][0]]
        for place, stop in enumerate(self.stops):
            option = stop.options.get(day.day)
            if option is not None:
                extra[place] = min(row[option] + stop.constants[day.day], far)
        return extra

    def _job(self, stop: Stop) -> Job:
        day, option = next(iter(stop.options.items()))
        return self._day[day].job(option)

    def _client(self, stop: Stop, place: int) -> pyvrp.Client:
        day, option = next(iter(stop.options.items()))
        return self._day[day].client(option, place)


def chosen_by(routes: Mapping[int, Routes], moving: Mapping[int, Choices]) -> Iterable[tuple[int, int]]:
    """(unit, choice) for every movable unit in the routes."""
    unit_at = {
        (day, option): (unit, number)
        for unit, choices in moving.items()
        for day, (number, option) in choices.items()
    }
    for day, those in routes.items():
        for _, options in those:
            yield from (unit_at[day, option] for option in options if (day, option) in unit_at)
