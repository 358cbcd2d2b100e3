"""The week to be planned: plain values, checked once when they are read.

Times are whole *ticks* from local midnight of their day. With travel times given in seconds a tick
is a second; with Euclidean travel a tick is 1/10,000 of a unit, because the search counts in whole
numbers. Distances are in metres, or in units of the plane. Loads are whole load units.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

TICKS_PER_UNIT = 10_000
"""Ticks in one unit of time when travel is Euclidean: rounding errors of a route stay below 0.01."""

NO_ROAD_TICKS = 10_000_000
"""Travel time that stands for 'no road': longer than any shift."""

DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class Window:
    """Time in which a visit may *start*, [ticks]; ``day`` None means every day."""

    day: int | None
    opens: int
    closes: int


@dataclass(frozen=True, slots=True)
class Pause:
    """A break of ``duration`` ticks taken between two visits, wholly inside opens..closes."""

    opens: int
    closes: int
    duration: int

    @property
    def latest(self) -> int:
        """Latest moment the break can begin."""
        return self.closes - self.duration


@dataclass(frozen=True, slots=True)
class Shift:
    """One technician's working time on one day, [ticks].

    ``max_duration`` limits the time from leaving to coming back, break included. Overtime is what
    lies beyond ``ends`` or beyond ``max_duration``, whichever is more, up to ``overtime_max``.
    """

    day: int
    starts: int
    ends: int
    max_duration: int | None = None
    pause: Pause | None = None
    overtime_max: int = 0

    @property
    def latest_back(self) -> int:
        """Latest moment to be back, overtime included."""
        return self.ends + self.overtime_max


@dataclass(frozen=True, slots=True)
class Technician:
    """Who drives; ``start`` and ``end`` are location indices, ``capacity`` None means no limit."""

    id: str
    start: int
    end: int
    capacity: int | None
    skills: frozenset[str]
    shifts: tuple[Shift, ...]


@dataclass(frozen=True, slots=True)
class Pin:
    """What is fixed: technician, day and start (the exact start of the service); None leaves it open."""

    technician: int | None = None
    day: int | None = None
    starts: int | None = None


@dataclass(frozen=True, slots=True)
class After:
    """The visit starts at least ``min_gap`` ticks after the visit with index ``visit`` was left."""

    visit: int
    min_gap: int


@dataclass(frozen=True, slots=True)
class Visit:
    """One obligation of the week; it is served on every day of exactly one of ``day_choices``."""

    id: str
    location: int
    service: int
    load: int
    needs: frozenset[str]
    day_choices: tuple[tuple[int, ...], ...]
    windows: tuple[Window, ...] = ()
    optional: bool = False
    drop_penalty: float | None = None
    pins: tuple[Pin, ...] = ()
    not_with: frozenset[int] = frozenset()
    preferred: frozenset[int] = frozenset()
    together_with: frozenset[int] = frozenset()
    after: After | None = None

    def windows_on(self, day: int) -> tuple[tuple[int, int], ...] | None:
        """Start windows on a day, earliest first; None when the visit may start at any time.

        An empty tuple says that the place is closed that day: windows are given, none for it (or
        none that holds the pinned start).
        """
        spans = tuple(sorted((w.opens, w.closes) for w in self.windows if w.day in (None, day)))
        starts = self.pinned_start(day)
        if starts is None:
            return spans if self.windows else None
        is_open = not self.windows or any(opens <= starts <= closes for opens, closes in spans)
        return ((starts, starts),) if is_open else ()

    def pinned_start(self, day: int) -> int | None:
        """The start the visit is pinned to on a day, if any."""
        return next((pin.starts for pin in self.pins_on(day) if pin.starts is not None), None)

    def technician_on(self, day: int) -> int | None:
        """The technician the visit is pinned to on a day, if any."""
        return next((pin.technician for pin in self.pins_on(day) if pin.technician is not None), None)

    def pins_on(self, day: int) -> list[Pin]:
        """The pins that hold on a day."""
        return [pin for pin in self.pins if pin.day in (None, day)]

    @property
    def pinned_days(self) -> frozenset[int]:
        """Days on which the visit must be served."""
        return frozenset(pin.day for pin in self.pins if pin.day is not None)


@dataclass(frozen=True, slots=True)
class Prices:
    """What things cost, in the user's money or points.

    ``distance`` per unit of distance, ``driving``, ``duration`` and ``overtime`` per second (or unit
    of time), ``vehicle_day`` per technician sent out on a day, ``moved_visit`` per visit that leaves
    a day of the previous plan, ``moved_technician`` per visit that keeps its day but changes hands,
    ``not_preferred`` per day on which a visit that prefers some technicians is done by another.
    """

    distance: float = 1.0
    driving: float = 0.0
    duration: float = 0.0
    overtime: float = 0.0
    vehicle_day: float = 0.0
    moved_visit: float = 0.0
    moved_technician: float = 0.0
    not_preferred: float = 0.0


@dataclass(frozen=True, slots=True)
class PreviousRoute:
    """A route of the plan that was in force: its visits in order, with their starts where known."""

    technician: int
    day: int
    visits: tuple[int, ...]
    starts: tuple[int | None, ...]


@dataclass(frozen=True)
class Problem:
    """Everything the search needs to know about the week."""

    days: int
    ticks_per_second: int
    travel: NDArray[np.int64] = field(repr=False)
    """Travel time between locations, [ticks], shape (locations, locations)."""
    metres: NDArray[np.float64] = field(repr=False)
    """Distance between locations, [metres or units], same shape."""
    location_ids: tuple[str, ...]
    technicians: tuple[Technician, ...]
    visits: tuple[Visit, ...]
    prices: Prices
    load_scale: int = 1
    previous: tuple[PreviousRoute, ...] | None = None

    @cached_property
    def previous_days(self) -> Mapping[int, Mapping[int, int]]:
        """For every visit of the previous plan: its days, and who came on each."""
        days: dict[int, dict[int, int]] = {}
        for route in self.previous or ():
            for visit in route.visits:
                days.setdefault(visit, {})[route.day] = route.technician
        return days

    @cached_property
    def travel_rows(self) -> list[list[int]]:
        """Travel times as plain lists: single look-ups are several times faster than in an array."""
        rows: list[list[int]] = self.travel.tolist()
        return rows

    @cached_property
    def together(self) -> list[int]:
        """For every visit the number of its group: visits together, directly or through others."""
        pairs = [(index, other) for index, visit in enumerate(self.visits) for other in visit.together_with]
        return group_numbers(len(self.visits), pairs)

    @property
    def day_ticks(self) -> int:
        """Length of a day, [ticks]."""
        return DAY_S * self.ticks_per_second

    @cached_property
    def followed(self) -> list[tuple[int, int]]:
        """Pairs (first, second) of visits of which the second comes after the first."""
        return [(visit.after.visit, index) for index, visit in enumerate(self.visits) if visit.after]

    def are_together(self, a: int, b: int) -> bool:
        """Whether two visits must be served by the same person on the same days."""
        return self.together[a] == self.together[b]

    def units(self, ticks: int) -> float:
        """Ticks as seconds (whole when travel times are given) or units of the plane."""
        if self.ticks_per_second == 1:
            return ticks
        return round(ticks / self.ticks_per_second, 4)

    def may_serve(self, visit: Visit, technician: int, day: int) -> bool:
        """Whether a technician has the skills, is not refused, and suits the pin."""
        pinned = visit.technician_on(day)
        return (
            visit.needs <= self.technicians[technician].skills
            and technician not in visit.not_with
            and pinned in (None, technician)
        )

    def is_second_choice(self, visit: int, technician: int) -> bool:
        """Whether the visit prefers somebody else."""
        preferred = self.visits[visit].preferred
        return bool(preferred) and technician not in preferred

    def moved_days(self, visit: int, days: tuple[int, ...]) -> int:
        """How many days of the previous plan the visit leaves when it is served on ``days``."""
        return len(set(self.previous_days.get(visit, ())) - set(days))


def group_numbers(count: int, pairs: Iterable[tuple[int, int]]) -> list[int]:
    """For each of ``count`` things the number of its group, when the pairs are in one group each.

    >>> group_numbers(4, [(0, 2), (2, 3)])
    [3, 1, 3, 3]
    """
    group = list(range(count))
    for a, b in pairs:
        old, new = group[a], group[b]
        if old != new:
            group = [new if number == old else number for number in group]
    return group
