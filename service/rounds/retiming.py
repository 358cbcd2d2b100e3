"""Rounds timed again from a plan's own problem: what a move by hand would do. No database, no search."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Any

from service.rounds.solver.problem import NO_ROAD_TICKS, Problem, Shift, Visit
from service.rounds.solver.request import read_problem
from service.rounds.solver.timing import Step, Timing, schedule

Json = dict[str, Any]
WHENEVER = 4 * 86_400
"""Closing time that stands for none, [s]."""


@dataclass(frozen=True)
class TimedStop:
    """A stop of a round, in seconds from midnight. late: how long after its last moment it begins."""

    key: str
    arrive: int
    start: int
    leave: int
    drive_seconds: int
    drive_metres: int
    late: int


@dataclass(frozen=True)
class TimedRound:
    """A round as it can be driven, in seconds from midnight.

    overtime  Beyond the end of the shift, or beyond its longest duration.
    over      The part of it that exceeds the overtime allowed.
    """

    person: str
    day: int
    depart: int
    back: int
    back_drive_seconds: int
    back_drive_metres: int
    overtime: int
    over: int
    pause: tuple[int, int] | None
    stops: tuple[TimedStop, ...]

    @property
    def driving(self) -> int:
        """Seconds behind the wheel."""
        return self.back_drive_seconds + sum(stop.drive_seconds for stop in self.stops)

    @property
    def metres(self) -> int:
        """Metres driven."""
        return self.back_drive_metres + sum(stop.drive_metres for stop in self.stops)

    @property
    def badness(self) -> tuple[int, int, int]:
        """What a better place for a stop makes smaller: limits broken, overtime, time out."""
        return self.over + sum(stop.late for stop in self.stops), self.overtime, self.back - self.depart


class Board:
    """A plan's problem, to ask what a round would be like."""

    def __init__(self, content: Mapping[str, Any]) -> None:
        self.request: Json = content["request"]
        self.people: Mapping[str, str] = content["people"]

    @cached_property
    def problem(self) -> Problem:
        return read_problem({**self.request, "previous": None})

    @cached_property
    def visits(self) -> Mapping[str, Visit]:
        return {visit.id: visit for visit in self.problem.visits}

    def knows(self, key: str) -> bool:
        """Whether the visit can be put on a round at all."""
        return key in self.visits

    def hours(self, key: str, day: int) -> tuple[tuple[int, int], ...]:
        """When a visit may begin on a day, [s] from midnight; none when at any time."""
        return _spans(self.visits[key], day) or ()

    def shifts(self, person: str, day: int) -> list[tuple[int, Shift]]:
        """The technicians of the problem that are this person, and their shifts of the day by time."""
        found = [
            (number, shift)
            for number, technician in enumerate(self.problem.technicians)
            if self.people[technician.id] == person
            for shift in technician.shifts
            if shift.day == day
        ]
        return sorted(found, key=lambda item: item[1].starts)

    def best_with(
        self, person: str, day: int, keys: Sequence[str], new: str, position: int | None
    ) -> TimedRound | None:
        """The round with one more stop: at the position, or where it does least harm. None: no shift."""
        places = range(len(keys) + 1) if position is None else [min(position, len(keys))]
        tries = [self.round(person, day, [*keys[:at], new, *keys[at:]]) for at in places]
        return min((one for one in tries if one is not None), key=lambda one: one.badness, default=None)

    def round(self, person: str, day: int, keys: Sequence[str]) -> TimedRound | None:
        """The stops driven in this order, on the shift of the day that suits best. None: no shift."""
        tries = [self._timed(person, number, shift, keys) for number, shift in self.shifts(person, day)]
        return min(tries, key=lambda one: one.badness, default=None)

    def broken_rules(self, key: str, person: str, day: int, days: frozenset[int]) -> list[str]:
        """Codes of what a visit must not be there for: "skill", "refused", "closed", "days".

        days  All days of this visit, with the new one.
        """
        visit, broken = self.visits[key], []
        mine = [number for number, _ in self.shifts(person, day)]
        if not any(visit.needs <= self.problem.technicians[number].skills for number in mine):
            broken.append("skill")
        if any(number in visit.not_with for number in mine):
            broken.append("refused")
        if visit.windows and not any(window.day in (None, day) for window in visit.windows):
            broken.append("closed")
        if not any(set(days) == set(choice) for choice in visit.day_choices):
            broken.append("days")
        return broken

    def _timed(self, person: str, number: int, shift: Shift, keys: Sequence[str]) -> TimedRound:
        visits = [self.visits[key] for key in keys]
        steps = [Step(visit.location, visit.service, _spans(visit, shift.day)) for visit in visits]
        timing, late = self._drivable(number, shift, steps)
        who, rows = self.problem.technicians[number], self.problem.travel_rows
        at = [who.start, *(visit.location for visit in visits), who.end]
        legs = [(rows[a][b], round(float(self.problem.metres[a, b]))) for a, b in pairwise(at)]
        pause = shift.pause
        taken = timing.pause_at
        return TimedRound(
            person=person,
            day=shift.day,
            depart=timing.depart,
            back=timing.back,
            back_drive_seconds=legs[-1][0],
            back_drive_metres=legs[-1][1],
            overtime=timing.overtime + timing.over,
            over=timing.over,
            pause=(taken, taken + pause.duration) if pause and taken is not None else None,
            stops=tuple(
                TimedStop(key, stop.arrive, stop.start, stop.leave, *leg, late.get(i, 0))
                for i, (key, stop, leg) in enumerate(zip(keys, timing.stops, legs[:-1], strict=True))
            ),
        )

    def _drivable(self, number: int, shift: Shift, steps: list[Step]) -> tuple[Timing, dict[int, int]]:
        """Times that can really be driven: a stop reached too late begins when it is reached.

        The planner's own timing lets such a stop begin in time and counts the lateness apart.
        """
        late: dict[int, int] = {}
        who, travel = self.problem.technicians[number], self.problem.travel_rows
        timing = schedule(travel, who, shift, steps)
        for _ in steps:
            missed = [
                i
                for i, (step, stop) in enumerate(zip(steps, timing.stops, strict=True))
                if step.windows and stop.arrive > step.windows[-1][1]
            ]
            if not missed:
                break
            for i in missed:
                windows = steps[i].windows or ()
                late[i] = windows[-1][1]
                steps[i] = replace(steps[i], windows=((windows[0][0], WHENEVER),))
            timing = schedule(travel, who, shift, steps)
        return timing, {i: max(0, timing.stops[i].start - closes) for i, closes in late.items()}


def _spans(visit: Visit, day: int) -> tuple[tuple[int, int], ...] | None:
    """When a visit may begin on a day; a closed day counts as open, its breach is told apart."""
    spans = sorted((w.opens, w.closes) for w in visit.windows if w.day in (None, day))
    return tuple(spans) or None


def has_road(seconds: int) -> bool:
    """Whether a drive of so many seconds exists."""
    return seconds < NO_ROAD_TICKS
