"""Moving a visit of a plan by hand: what it would do, said before it is done; pins; taking it off."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction

from accounts.models import Person
from service.rounds.figures import figures_of, moves_between
from service.rounds.keep_plan import placement_of_rows
from service.rounds.models import PlannedRound, PlannedVisit, WeekPlan
from service.rounds.plan_editing import edit_standing_plan, note
from service.rounds.plan_values import day_name
from service.rounds.problem_of_week import DAYS
from service.rounds.publish import follow
from service.rounds.retiming import Board, TimedRound, TimedStop, has_road
from service.rounds.week_clock import moment_at, seconds_into
from service.rounds.words import say_list
from service.shell.clock import local_time
from service.shell.days import today_at
from service.visits.clock import zone_of
from service.visits.editing import Refused
from service.visits.models import VisitState

TAKEN_OFF_BY_HAND = "Taken off its round by hand."
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
    return _Move(planned, technician, day).effect(position)


@transaction.atomic
def move_visit(
    *,
    planned: PlannedVisit,
    technician: Person,
    day: date,
    by: Person,
    position: int | None = None,
    expected_revision: int | None = None,
) -> MoveEffect:
    """Move a visit. In a published plan the visits on people's days follow at once.

    Raises NotAllowed, PlanChanged or Refused, as ``preview_move``.
    """
    plan = edit_standing_plan(planned.plan, by=by, expected_revision=expected_revision)
    row = _fresh(planned, plan)
    effect = preview_move(row, technician, day, position)
    write_rounds(plan, board_of(plan), effect.timed, moved=(row.pk,))
    settle(plan, by=by)
    note(
        plan, "week_plan.visit_moved", by=by, spa=str(row.spa_id), day=day.isoformat(), to=str(technician.pk)
    )
    return effect


@transaction.atomic
def pin(*, planned: PlannedVisit, by: Person, expected_revision: int | None = None) -> None:
    """Fix a visit to its person and day: planning anew keeps it there.

    Raises NotAllowed, PlanChanged or Refused (it has no place).
    """
    _set_pinned(planned, True, by, expected_revision)


@transaction.atomic
def unpin(*, planned: PlannedVisit, by: Person, expected_revision: int | None = None) -> None:
    """Let a visit be moved again when the week is planned anew. Raises as ``pin``."""
    _set_pinned(planned, False, by, expected_revision)


@transaction.atomic
def unassign(*, planned: PlannedVisit, by: Person, expected_revision: int | None = None) -> None:
    """Take a visit off its round; it waits among those without a place.

    Raises NotAllowed, PlanChanged, or Refused (it has no place, or has begun).
    """
    plan = edit_standing_plan(planned.plan, by=by, expected_revision=expected_revision)
    row = _fresh(planned, plan)
    if row.day is None:
        raise Refused("This visit is on no round.")
    if _has_begun(row):
        raise Refused(HAS_BEGUN)
    move = _Move(row, row.technician, row.day) if row.technician else None
    left = move.left() if move else None
    row.pinned = False
    _clear(row, TAKEN_OFF_BY_HAND)
    write_rounds(plan, move.board if move else board_of(plan), [left] if left else [])
    settle(plan, by=by)
    note(plan, "week_plan.visit_unassigned", by=by, spa=str(row.spa_id))


def board_of(plan: WeekPlan) -> Board:
    """The plan's problem, to time rounds with."""
    return Board(plan.problem.content)


class _Move:
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
        if _has_begun(row):
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


def write_rounds(
    plan: WeekPlan, board: Board, timed: Sequence[TimedRound], *, moved: Sequence[UUID] = ()
) -> None:
    """Write rounds that were timed anew, and remove those that nothing is left of.

    moved  The planned visits that come from elsewhere.
    """
    zone = zone_of(plan.organisation)
    rows: dict[str, list[PlannedVisit]] = {}
    for row in plan.visits.all():
        rows.setdefault(row.key, []).append(row)
    for one in timed:
        day = plan.monday + timedelta(days=one.day)
        kept = _round_row(plan, one, day)
        for number, stop in enumerate(one.stops, start=1):
            row = _row_for(rows[stop.key], day, moved)
            row.round, row.technician_id, row.day, row.sequence = kept, kept.technician_id, day, number
            row.arrive_at = moment_at(day, stop.arrive, zone)
            row.start_at = moment_at(day, stop.start, zone)
            row.leave_at = moment_at(day, stop.leave, zone)
            row.drive_seconds, row.drive_metres = stop.drive_seconds, stop.drive_metres
            row.window_from, row.window_to = _window(board, stop, one.day, day, zone)
            row.reason = row.would_fit_if = ""
            row.save()
    plan.rounds.filter(stops__isnull=True).delete()


def _row_for(rows: Sequence[PlannedVisit], day: date, moved: Sequence[UUID]) -> PlannedVisit:
    """The row of a stop: the one of that day, else the one that was moved there."""
    here = [row for row in rows if row.day == day]
    return (here or [row for row in rows if row.pk in moved])[0]


def _window(
    board: Board, stop: TimedStop, number: int, day: date, zone: ZoneInfo
) -> tuple[time | None, time | None]:
    """The hours that a stop is to begin in, as clock times; the last ones of the day when it is late."""
    spans = board.hours(stop.key, number)
    around = [span for span in spans if span[0] <= stop.start <= span[1]] or spans[-1:]
    if not around:
        return None, None
    opens, closes = (moment_at(day, seconds, zone).time() for seconds in around[0])
    return opens, closes if closes > opens else None


def _round_row(plan: WeekPlan, one: TimedRound, day: date) -> PlannedRound:
    """The row of a round, its times written anew; of two on one day the first takes all stops."""
    zone = zone_of(plan.organisation)
    technician_id = UUID(one.person)
    kept = plan.rounds.filter(technician=technician_id, day=day).first() or PlannedRound(
        organisation=plan.organisation, plan=plan, technician_id=technician_id, day=day
    )
    kept.depart_at, kept.back_at = moment_at(day, one.depart, zone), moment_at(day, one.back, zone)
    kept.back_drive_seconds, kept.back_drive_metres = one.back_drive_seconds, one.back_drive_metres
    kept.overtime_seconds = one.overtime
    kept.pause_from = moment_at(day, one.pause[0], zone) if one.pause else None
    kept.pause_to = moment_at(day, one.pause[1], zone) if one.pause else None
    kept.save()
    return kept


def settle(plan: WeekPlan, *, by: Person) -> None:
    """After rows of a plan changed: its figures, and people's days where it is published."""
    visits = list(plan.visits.all())
    before = placement_of_rows(list(plan.based_on.visits.all())) if plan.based_on else {}
    moved, changed = moves_between(before, placement_of_rows(visits))
    plan.figures = figures_of(
        plan.rounds.all(), visits, zone_of(plan.organisation), moved=moved, changed_hands=changed
    ).as_json()
    plan.save(update_fields=["figures"])
    if plan.is_published:
        follow(plan, by=by)


def _fresh(planned: PlannedVisit, plan: WeekPlan) -> PlannedVisit:
    row = plan.visits.select_related("spa", "technician", "visit", "round").get(pk=planned.pk)
    row.plan = plan
    return row


def _has_begun(row: PlannedVisit) -> bool:
    return row.visit is not None and row.visit.state not in (VisitState.PLANNED, VisitState.CANCELLED)


def _clear(row: PlannedVisit, reason: str) -> None:
    """Take the place from a planned visit."""
    row.round = row.technician = row.day = row.arrive_at = row.start_at = row.leave_at = None
    row.sequence = row.drive_seconds = row.drive_metres = 0
    row.window_from = row.window_to = None
    row.reason = reason
    row.save()


def _set_pinned(planned: PlannedVisit, value: bool, by: Person, expected_revision: int | None) -> None:
    plan = edit_standing_plan(planned.plan, by=by, expected_revision=expected_revision)
    row = _fresh(planned, plan)
    if row.day is None:
        raise Refused("This visit is on no round: there is no place to pin it to.")
    row.pinned = value
    row.save(update_fields=["pinned"])
    note(plan, "week_plan.visit_pinned" if value else "week_plan.visit_unpinned", by=by, spa=str(row.spa_id))


def _minutes(seconds: int) -> int:
    """Whole minutes, rounded up."""
    return -(-seconds // 60)
