"""What moving a visit of a plan would do, said before it is done."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from accounts.models import Person
from service.rounds.models import PlannedVisit
from service.rounds.plan_values import day_name
from service.rounds.problem_of_week import DAYS
from service.rounds.retiming import TimedRound, TimedStop, has_road
from service.rounds.week_clock import moment_at, seconds_into
from service.rounds.words import say_list
from service.rounds.write_rounds import board_of
from service.shell.clock import local_time
from service.shell.days import today_at
from service.visits.clock import zone_of
from service.visits.editing import Refused
from service.visits.models import VisitState

HAS_BEGUN = "This visit has begun or ended; it stays where it was."


@dataclass(frozen=True)
class StopChange:
    """A stop whose beginning changes: clock times, "" where it is not on the round."""

    spa: str
    was: str
    now: str


@dataclass(frozen=True)
class RoundChange:
    """How one person's day changes. back: when it ends; stops: those that begin at another time."""

    technician: Person
    day: date
    driving_minutes: int
    kilometres: float
    overtime_minutes: int
    back: str
    stops: tuple[StopChange, ...]


@dataclass(frozen=True)
class MoveEffect:
    """What a move would do.

    violations       What it breaks, in sentences; it can be done all the same.
    driving_minutes, kilometres, overtime_minutes  By how much the plan changes.
    rounds           The rounds that change, the one it leaves first.
    """

    violations: tuple[str, ...]
    driving_minutes: int
    kilometres: float
    overtime_minutes: int
    rounds: tuple[RoundChange, ...]
    timed: tuple[TimedRound, ...]


def preview_move(
    planned: PlannedVisit, technician: Person, day: date, position: int | None = None
) -> MoveEffect:
    """What moving a visit to a person and day would do. Nothing is changed.

    position  Its place among the stops of that round, from 0; None: where it does least harm.

    Needs ``plan.organisation`` and ``spa`` loaded. Raises Refused where it cannot be done at all: nobody's
    shift, a day that is over or not of the week, a visit that has begun, the same spa twice a day.
    """
    return Move(planned, technician, day).effect(position)


class Move:
    """One visit, and the person and day it would go to."""

    def __init__(self, planned: PlannedVisit, technician: Person | None, day: date) -> None:
        assert technician is not None
        self.planned, self.technician, self.day = planned, technician, day
        self.plan = planned.plan
        self.zone = zone_of(self.plan.organisation)
        self.board = board_of(self.plan)
        self.rows = list(
            self.plan.visits.filter(day__isnull=False).select_related("technician", "spa", "round", "visit")
        )

    def effect(self, position: int | None) -> MoveEffect:
        if why := self._why_not():
            raise Refused(why)
        there = self.board.best_with(
            str(self.technician.pk),
            self._number(self.day),
            self._keys(self.technician.pk, self.day),
            self.planned.key,
            position,
        )
        if there is None:
            raise Refused(f"{self.technician.name} does not work on {day_name(self.day)}.")
        if not all(has_road(stop.drive_seconds) for stop in there.stops):
            raise Refused("No road leads there from where this round begins.")
        left = None if self._stays() else self.left()
        timed = tuple(one for one in (left, there) if one is not None)
        changes = tuple(self._change(one) for one in timed)
        emptied = self._emptied(left)
        return MoveEffect(
            violations=tuple(self._violations(there)),
            driving_minutes=sum(c.driving_minutes for c in changes) - round(emptied[0] / 60),
            kilometres=round(sum(c.kilometres for c in changes) - emptied[1] / 1000, 1),
            overtime_minutes=sum(c.overtime_minutes for c in changes),
            rounds=changes,
            timed=timed,
        )

    def left(self) -> TimedRound | None:
        """The round that the visit leaves, without it; None when nothing is left of it."""
        row = self.planned
        if row.day is None or row.technician_id is None:
            return None
        keys = self._keys(row.technician_id, row.day)
        return self.board.round(str(row.technician_id), self._number(row.day), keys) if keys else None

    def _why_not(self) -> str:
        row, last = self.planned, self.plan.monday + timedelta(days=DAYS - 1)
        if has_begun(row):
            return HAS_BEGUN
        if not self.plan.monday <= self.day <= last:
            return f"The day must be from {day_name(self.plan.monday)} to {day_name(last)}."
        if self.day < today_at(self.plan.organisation):
            return f"{day_name(self.day)} is over."
        if not self.board.knows(row.key):
            return f"{row.reason} It cannot be put on a round before that is mended."
        if any(r.key == row.key and r.day == self.day and r.pk != row.pk for r in self.rows):
            return f"{row.spa.name} is visited on {day_name(self.day)} already."
        return ""

    def _stays(self) -> bool:
        return self.planned.technician_id == self.technician.pk and self.planned.day == self.day

    def _number(self, day: date) -> int:
        return (day - self.plan.monday).days

    def _keys(self, technician_id: UUID, day: date) -> list[str]:
        """Stops of a round in order, without the visit that is moved."""
        mine = [r for r in self._mine(technician_id, day) if r.pk != self.planned.pk]
        return [r.key for r in mine if self.board.knows(r.key)]

    def _mine(self, technician_id: UUID, day: date) -> list[PlannedVisit]:
        rows = [r for r in self.rows if r.technician_id == technician_id and r.day == day]
        return sorted(rows, key=lambda r: r.sequence)

    def _violations(self, there: TimedRound) -> Iterator[str]:
        name, spa = self.technician.name, self.planned.spa.name
        others = {r.day for r in self.rows if r.key == self.planned.key and r.pk != self.planned.pk}
        days = sorted({self.day, *(day for day in others if day)})
        codes = self.board.broken_rules(
            self.planned.key, str(self.technician.pk), there.day, frozenset(self._number(d) for d in days)
        )
        said = {
            "skill": f"{name} lacks a skill that {spa} needs.",
            "refused": f"{name} is not to go to {spa}, by its agreement.",
            "closed": f"{spa} is not open for a visit on {day_name(self.day)}.",
            "days": f"The agreement does not allow {say_list([day_name(day) for day in days])}.",
        }
        yield from (said[code] for code in codes)
        yield from self._lateness(there)
        if there.over:
            yield f"{name} would be back {_minutes(there.over)} min later than any overtime allows."

    def _lateness(self, there: TimedRound) -> Iterator[str]:
        names = {r.key: r.spa.name for r in self.rows} | {self.planned.key: self.planned.spa.name}
        for stop in there.stops:
            if stop.late:
                yield f"{names[stop.key]} would begin {_minutes(stop.late)} min after its last moment."

    def _change(self, timed: TimedRound) -> RoundChange:
        here = timed.person == str(self.technician.pk) and timed.day == self._number(self.day)
        technician, day = (self.technician, self.day) if here else (self.planned.technician, self.planned.day)
        assert technician is not None
        assert day is not None
        before = self._mine(technician.pk, day)
        rounds = {r.round_id: r.round for r in before if r.round}.values()
        driving = sum(r.drive_seconds for r in before) + sum(r.back_drive_seconds for r in rounds)
        metres = sum(r.drive_metres for r in before) + sum(r.back_drive_metres for r in rounds)
        overtime = sum(r.overtime_seconds for r in rounds)
        return RoundChange(
            technician=technician,
            day=day,
            driving_minutes=round((timed.driving - driving) / 60),
            kilometres=round((timed.metres - metres) / 1000, 1),
            overtime_minutes=round((timed.overtime - overtime) / 60),
            back=self._clock(day, timed.back),
            stops=tuple(self._stop_changes(day, timed.stops, before)),
        )

    def _stop_changes(
        self, day: date, stops: Sequence[TimedStop], before: Sequence[PlannedVisit]
    ) -> Iterator[StopChange]:
        was = {
            r.key: self._clock(day, seconds_into(day, r.start_at, self.zone)) for r in before if r.start_at
        }
        now = {stop.key: self._clock(day, stop.start) for stop in stops}
        names = {r.key: r.spa.name for r in (*before, self.planned)}
        for key in dict.fromkeys([*now, *was]):
            if was.get(key, "") != now.get(key, ""):
                yield StopChange(names[key], was.get(key, ""), now.get(key, ""))

    def _emptied(self, left: TimedRound | None) -> tuple[int, int]:
        """Seconds and metres of a round that nothing is left of."""
        row = self.planned
        if left is not None or self._stays() or row.round is None:
            return 0, 0
        return (
            row.drive_seconds + row.round.back_drive_seconds,
            row.drive_metres + row.round.back_drive_metres,
        )

    def _clock(self, day: date, seconds: int) -> str:
        return local_time(moment_at(day, seconds, self.zone), self.plan.organisation.time_zone)


def has_begun(row: PlannedVisit) -> bool:
    return row.visit is not None and row.visit.state not in (VisitState.PLANNED, VisitState.CANCELLED)


def _minutes(seconds: int) -> int:
    """Whole minutes, rounded up."""
    return -(-seconds // 60)
