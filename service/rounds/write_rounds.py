"""Rounds of a plan that were timed anew, and what follows from them."""

from collections.abc import Sequence
from datetime import date, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from accounts.models import Person
from service.rounds.figures import figures_of, moves_between
from service.rounds.keep_plan import placement_of_rows
from service.rounds.models import PlannedRound, PlannedVisit, WeekPlan
from service.rounds.publish import follow
from service.rounds.retiming import Board, TimedRound, TimedStop
from service.rounds.week_clock import moment_at
from service.visits.clock import zone_of


def board_of(plan: WeekPlan) -> Board:
    """The plan's problem, to time rounds with."""
    return Board(plan.problem.content)


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
