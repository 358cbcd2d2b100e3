"""From what is owed in a week to the planner's request. Plain values, no database.

Day number *d* of the request is the d-th day of the week, Monday 0. A day on which nobody works stays
in: the planner then says so by name. Windows say when a visit may begin.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from service.rounds.week_clock import span_of

Json = dict[str, Any]
DAYS = 7

PREFERRED_MINUTES = 5
"""Driving that is accepted so that the preferred person comes, [min]. Own choice, no source."""


@dataclass(frozen=True)
class OpenHours:
    """When a visit may begin: on ``day``, or any day when None. Closing before opening: on the day after."""

    day: date | None
    opens: time
    closes: time


@dataclass(frozen=True)
class Obligation:
    """What is owed to one spa this week. It is served on every day of one of ``day_choices``.

    key        Stable from one building of the week to the next.
    location   Name of the site's place in ``Roads``; "" when its position is not known.
    not_with   People who must not come; ``preferred`` the one who should, if it costs little.
    hours      None given: at any time.
    drop_price  What leaving an optional one out costs; None: it is left out only when nothing else fits.
    """

    key: str
    location: str
    service_minutes: int
    day_choices: tuple[tuple[date, ...], ...]
    hours: tuple[OpenHours, ...] = ()
    needs: tuple[str, ...] = ()
    not_with: tuple[str, ...] = ()
    preferred: str | None = None
    optional: bool = False
    drop_price: float | None = None


@dataclass(frozen=True)
class Working:
    """One person's working time on one day; start and end are names of places in ``Roads``."""

    person: str
    day: date
    opens: time
    closes: time
    start: str
    end: str
    pause_opens: time | None = None
    pause_closes: time | None = None
    pause_minutes: int = 0
    most_minutes: int | None = None
    overtime_minutes: int = 0
    capacity: int | None = None
    skills: tuple[str, ...] = ()


@dataclass(frozen=True)
class Roads:
    """Drives between named places, [s] and [m]; unreachable: place -> why, in words."""

    places: tuple[str, ...]
    seconds: Sequence[Sequence[int]]
    metres: Sequence[Sequence[int]]
    unreachable: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class RoundPrices:
    """What a plan is judged by, in the firm's money."""

    driving_minute: float = 0.0
    kilometre: float = 0.0
    overtime_minute: float = 0.0
    technician_day: float = 0.0
    moved_visit: float = 0.0


@dataclass(frozen=True)
class Placed:
    """Where a visit is, or was: a person and a day; start in seconds from midnight where it is known."""

    key: str
    person: str
    day: date
    start: int | None = None


@dataclass(frozen=True)
class Week:
    """Everything that a week is planned from.

    pins      Fixed by hand: the person and the day.
    previous  The plan in force, or last week's moved to this week's days; in driving order.
    """

    monday: date
    zone: ZoneInfo
    obligations: Sequence[Obligation]
    working: Sequence[Working]
    roads: Roads
    prices: RoundPrices = field(default_factory=RoundPrices)
    pins: Sequence[Placed] = ()
    previous: Sequence[Placed] = ()


@dataclass(frozen=True)
class LeftOut:
    """What cannot be planned, why, and what would change that."""

    key: str
    reason: str
    would_fit_if: str


@dataclass(frozen=True)
class WeekProblem:
    """The planner's request, and what never gets that far. people: technician of the request -> person."""

    request: Json
    left_out: tuple[LeftOut, ...]
    people: Mapping[str, str]


def problem_of_week(week: Week) -> WeekProblem:
    """The request for a week. Raises ValueError when ``monday`` is no Monday."""
    if week.monday.weekday():
        raise ValueError("a week begins on a Monday")
    team = _Team(week)
    lost = [left_out for item in week.obligations if (left_out := _why_not(week, item))]
    gone = {item.key for item in lost}
    kept = [item for item in week.obligations if item.key not in gone]
    request = {
        "days": DAYS,
        "travel": _travel(week.roads),
        "locations": [{"id": name} for name in week.roads.places if name not in week.roads.unreachable],
        "technicians": team.technicians(),
        "visits": [_visit(week, item, team) for item in kept],
        "previous": _previous(week, kept, team),
        "prices": {
            "driving_minute": week.prices.driving_minute,
            "kilometre": week.prices.kilometre,
            "overtime_minute": week.prices.overtime_minute,
            "vehicle_day": week.prices.technician_day,
            "moved_visit": week.prices.moved_visit,
            "not_preferred": PREFERRED_MINUTES * week.prices.driving_minute,
        },
    }
    return WeekProblem(request, tuple(lost), team.people)


def date_of(monday: date, number: int) -> date:
    """The date of a day of the request."""
    return monday + timedelta(days=number)


class _Team:
    """The planner's technicians: a person once for each way of beginning and ending a day.

    The planner's technician has one start, one end, one van and one set of skills.
    """

    def __init__(self, week: Week) -> None:
        self.week = week
        self.by_name: dict[str, list[Working]] = {}
        self.people: dict[str, str] = {}
        ways: dict[tuple[Any, ...], str] = {}
        reachable = [w for w in week.working if not {w.start, w.end} & week.roads.unreachable.keys()]
        for shift in sorted(reachable, key=lambda w: (w.person, w.day, w.opens)):
            way = (shift.person, shift.start, shift.end, shift.capacity, shift.skills)
            if way not in ways:
                number = sum(person == shift.person for person in self.people.values())
                ways[way] = f"{shift.person}/{number + 1}" if number else shift.person
                self.people[ways[way]] = shift.person
            self.by_name.setdefault(ways[way], []).append(shift)

    def technicians(self) -> list[Json]:
        return [
            {
                "id": name,
                "start": shifts[0].start,
                "end": shifts[0].end,
                "capacity": shifts[0].capacity,
                "skills": list(shifts[0].skills),
                "shifts": [self._shift(shift) for shift in shifts],
            }
            for name, shifts in self.by_name.items()
        ]

    def named(self, person: str) -> list[str]:
        """Every technician that is this person."""
        return [name for name, other in self.people.items() if other == person]

    def on(self, person: str, day: date) -> str | None:
        """The technician that is this person on a day; any of theirs when they do not work."""
        names = self.named(person)
        at_work = [name for name in names if any(shift.day == day for shift in self.by_name[name])]
        return next(iter([*at_work, *names]), None)

    def _shift(self, shift: Working) -> Json:
        begins, ends = span_of(shift.day, shift.opens, shift.closes, self.week.zone)
        return {
            "day": _number(self.week, shift.day),
            "from": begins,
            "to": ends,
            "max_duration": None if shift.most_minutes is None else shift.most_minutes * 60,
            "break": self._pause(shift),
            "overtime_max": shift.overtime_minutes * 60,
        }

    def _pause(self, shift: Working) -> Json | None:
        if not shift.pause_minutes or shift.pause_opens is None or shift.pause_closes is None:
            return None
        opens, closes = span_of(shift.day, shift.pause_opens, shift.pause_closes, self.week.zone)
        duration = shift.pause_minutes * 60
        return {"from": opens, "to": max(closes, opens + duration), "duration": duration}


def _number(week: Week, day: date) -> int:
    return (day - week.monday).days


def _travel(roads: Roads) -> Json:
    kept = [i for i, name in enumerate(roads.places) if name not in roads.unreachable]

    def part(rows: Sequence[Sequence[int]]) -> list[list[int | None]]:
        return [[rows[i][j] if rows[i][j] >= 0 else None for j in kept] for i in kept]

    return {"seconds": part(roads.seconds), "metres": part(roads.metres)}


def _why_not(week: Week, item: Obligation) -> LeftOut | None:
    """Why something owed cannot even be asked of the planner."""
    if not item.location:
        return LeftOut(
            item.key,
            "The site has no position on the map, so no drive to it can be worked out.",
            "its latitude and longitude stood on the site's page",
        )
    if why := week.roads.unreachable.get(item.location):
        return LeftOut(
            item.key, why, "the site's position lay near a road, or its drives were entered by hand"
        )
    if not _choices(week, item):
        return LeftOut(item.key, "None of its days lies in this week.", "a day of this week were allowed")
    return None


def _choices(week: Week, item: Obligation) -> list[list[int]]:
    """Allowed sets of days; what was fixed by hand on other days counts as allowed."""
    numbers = [[_number(week, day) for day in days] for days in item.day_choices]
    inside = [sorted(days) for days in numbers if days and all(0 <= day < DAYS for day in days)]
    fixed = {_number(week, pin.day) for pin in week.pins if pin.key == item.key}
    if not fixed or any(fixed <= set(days) for days in inside):
        return inside
    return [sorted(fixed)]


def _days(week: Week, item: Obligation) -> list[date]:
    return [
        date_of(week.monday, day) for day in sorted({day for days in _choices(week, item) for day in days})
    ]


def _windows(week: Week, item: Obligation) -> list[Json]:
    """Windows of the beginning, on each of the days that come into question."""
    return [
        {"day": _number(week, day), "from": opens, "to": closes}
        for day in _days(week, item)
        for hours in item.hours
        if hours.day in (None, day)
        for opens, closes in [span_of(day, hours.opens, hours.closes, week.zone)]
    ]


def _visit(week: Week, item: Obligation, team: _Team) -> Json:
    return {
        "id": item.key,
        "location": item.location,
        "service": item.service_minutes * 60,
        "load": 0,
        "needs": sorted(item.needs),
        "day_choices": _choices(week, item),
        "windows": _windows(week, item),
        "optional": item.optional,
        "drop_penalty": item.drop_price if item.optional else None,
        "preferred": team.named(item.preferred) if item.preferred else [],
        "not_with": [name for person in item.not_with for name in team.named(person)],
        "pinned": list(_pins(week, item, team)),
    }


def _pins(week: Week, item: Obligation, team: _Team) -> Iterator[Json]:
    for pin in week.pins:
        name = team.on(pin.person, pin.day) if pin.key == item.key else None
        if name is not None:
            yield {"technician": name, "day": _number(week, pin.day)}


def _previous(week: Week, kept: Sequence[Obligation], team: _Team) -> list[Json] | None:
    """The plan before, as routes."""
    wanted = {item.key for item in kept}
    placed = [item for item in week.previous if item.key in wanted]
    routes: dict[tuple[str, int], list[Json]] = {}
    for item in placed:
        name, day = team.on(item.person, item.day), _number(week, item.day)
        if name is not None and 0 <= day < DAYS:
            routes.setdefault((name, day), []).append({"visit": item.key, "start": item.start})
    if not routes:
        return None
    return [{"technician": name, "day": day, "stops": stops} for (name, day), stops in routes.items()]
