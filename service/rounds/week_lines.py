"""A plan as the office reads it: day by day, each round as lines with times, and what stands out."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from service.rounds.figures import AT_RISK_MINUTES, is_at_risk, pause_inside, spare_minutes
from service.rounds.hairline import Piece, Scale, hairline, scale_of
from service.rounds.models import PlannedRound, PlannedVisit, WeekPlan
from service.rounds.week_clock import midnight, seconds_into
from service.visits.clock import zone_of


@dataclass(frozen=True)
class StopLine:
    """One visit on a round. spare_minutes: until its last moment; None when it has none."""

    row: PlannedVisit
    spare_minutes: int | None

    @property
    def is_late(self) -> bool:
        return self.spare_minutes is not None and self.spare_minutes < 0

    @property
    def at_risk(self) -> bool:
        return is_at_risk(self.spare_minutes)

    @property
    def late_minutes(self) -> int:
        return -(self.spare_minutes or 0)


@dataclass(frozen=True)
class RoundLine:
    """One person's round: its stops, its sums in whole minutes, and its line to scale."""

    row: PlannedRound
    stops: tuple[StopLine, ...]
    pieces: tuple[Piece, ...]
    driving_minutes: int
    working_minutes: int
    waiting_minutes: int
    overtime_minutes: int
    kilometres: float


@dataclass(frozen=True)
class DayLines:
    """The rounds of one day."""

    day: date
    rounds: tuple[RoundLine, ...]

    @property
    def visits(self) -> int:
        return sum(len(line.stops) for line in self.rounds)


@dataclass(frozen=True)
class WeekLines:
    """A whole plan. left_out: visits without a place."""

    days: tuple[DayLines, ...]
    left_out: tuple[PlannedVisit, ...]
    scale: Scale
    at_risk_minutes: int = AT_RISK_MINUTES

    @property
    def at_risk(self) -> tuple[StopLine, ...]:
        """Visits that begin late, or nearly so."""
        return tuple(stop for day in self.days for line in day.rounds for stop in line.stops if stop.at_risk)


def week_lines(plan: WeekPlan, *, day: date | None = None) -> WeekLines:
    """The plan's lines; of one day only with ``day``. Two queries."""
    zone = zone_of(plan.organisation)
    rounds, visits = plan.rounds.select_related("technician"), rows_of(plan)
    if day is not None:
        rounds, visits = rounds.filter(day=day), visits.filter(day=day)
    stops: dict[object, list[PlannedVisit]] = {}
    left_out = []
    for row in visits:
        if row.day is None:
            left_out.append(row)
        else:
            stops.setdefault(row.round_id, []).append(row)
    drives = sorted(rounds, key=lambda row: (row.day, row.technician.name, row.depart_at))
    scale = scale_of(
        (seconds_into(row.day, row.depart_at, zone), seconds_into(row.day, row.back_at, zone))
        for row in drives
    )
    lines = [_round_line(row, stops.get(row.pk, []), scale, zone) for row in drives]
    return WeekLines(tuple(_by_day(lines)), tuple(left_out), scale)


def rows_of(plan: WeekPlan) -> "QuerySet[PlannedVisit]":
    """The plan's visits with all that a line says, in driving order; without gate codes."""
    rows = plan.visits.select_related("spa__site__client", "technician", "agreement", "visit")
    rows = rows.defer("spa__site__access_code", "spa__site__access_notes")
    return rows.order_by("day", "technician", "sequence", "spa__name", "key")


def _by_day(lines: Iterable[RoundLine]) -> list[DayLines]:
    days: dict[date, list[RoundLine]] = {}
    for line in lines:
        days.setdefault(line.row.day, []).append(line)
    return [DayLines(day, tuple(rounds)) for day, rounds in days.items()]


def _round_line(row: PlannedRound, stops: Sequence[PlannedVisit], scale: Scale, zone: ZoneInfo) -> RoundLine:
    driving = row.back_drive_seconds + sum(stop.drive_seconds for stop in stops)
    metres = row.back_drive_metres + sum(stop.drive_metres for stop in stops)
    working = sum(stop.service_minutes for stop in stops)
    out = (row.back_at - row.depart_at).total_seconds() - pause_inside(row)
    return RoundLine(
        row=row,
        stops=tuple(StopLine(stop, spare_minutes(stop, zone)) for stop in stops),
        pieces=hairline(row, stops, scale=scale, midnight=midnight(row.day, zone)),
        driving_minutes=round(driving / 60),
        working_minutes=working,
        waiting_minutes=max(0, round((out - driving) / 60) - working),
        overtime_minutes=round(row.overtime_seconds / 60),
        kilometres=round(metres / 1000, 1),
    )
