"""A plan in numbers that people ask for, and two plans side by side."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime, time
from typing import Protocol
from zoneinfo import ZoneInfo

AT_RISK_MINUTES = 15
"""A visit that begins less than so long before its window ends is at risk. Own choice, no source."""


class RoundFigures(Protocol):
    """What a round contributes."""

    overtime_seconds: int
    back_drive_seconds: int
    back_drive_metres: int
    pause_from: datetime | None
    pause_to: datetime | None
    depart_at: datetime
    back_at: datetime


class VisitFigures(Protocol):
    """What a planned visit contributes."""

    key: str
    day: date | None
    arrive_at: datetime | None
    start_at: datetime | None
    drive_seconds: int
    drive_metres: int
    service_minutes: int
    window_from: time | None
    window_to: time | None


@dataclass(frozen=True)
class PlanFigures:
    """Minutes, kilometres and counts of a week.

    at_risk               Visits that begin less than AT_RISK_MINUTES before their window ends, or after it.
    moved, changed_hands  Visits on another day, or on the same with somebody else, than in the plan before.
    """

    driving_minutes: int = 0
    working_minutes: int = 0
    waiting_minutes: int = 0
    overtime_minutes: int = 0
    kilometres: float = 0.0
    visits: int = 0
    rounds: int = 0
    moved: int = 0
    changed_hands: int = 0
    unserved: int = 0
    at_risk: int = 0

    def as_json(self) -> dict[str, float]:
        return asdict(self)


Placement = Mapping[str, Mapping[date, object]]
"""For each key of what is owed: its days, and who comes on each."""


def figures_of(
    rounds: Iterable[RoundFigures],
    visits: Iterable[VisitFigures],
    zone: ZoneInfo,
    *,
    moved: int = 0,
    changed_hands: int = 0,
) -> PlanFigures:
    """The sums of a plan's rows. The break is neither driving nor waiting. zone: of the windows' hours."""
    rounds, visits = list(rounds), list(visits)
    placed = [visit for visit in visits if visit.day is not None]
    driving = sum(v.drive_seconds for v in placed) + sum(r.back_drive_seconds for r in rounds)
    metres = sum(v.drive_metres for v in placed) + sum(r.back_drive_metres for r in rounds)
    working = sum(visit.service_minutes for visit in placed)
    out = sum((r.back_at - r.depart_at).total_seconds() - pause_inside(r) for r in rounds)
    return PlanFigures(
        driving_minutes=round(driving / 60),
        working_minutes=working,
        waiting_minutes=max(0, round((out - driving) / 60) - working),
        overtime_minutes=round(sum(r.overtime_seconds for r in rounds) / 60),
        kilometres=round(metres / 1000, 1),
        visits=len(placed),
        rounds=len(rounds),
        moved=moved,
        changed_hands=changed_hands,
        unserved=len(visits) - len(placed),
        at_risk=sum(is_at_risk(spare_minutes(visit, zone)) for visit in placed),
    )


def spare_minutes(visit: VisitFigures, zone: ZoneInfo) -> int | None:
    """Whole minutes from the beginning until the last moment at which it may begin; None without one."""
    if visit.window_to is None or visit.start_at is None or visit.day is None:
        return None
    if visit.window_from == visit.window_to or visit.window_to == time.max:
        # A visit that has begun keeps the moment at which it did.
        return None
    last = datetime.combine(visit.day, visit.window_to, tzinfo=zone)
    return int((last - visit.start_at.astimezone(zone)).total_seconds() // 60)


def is_at_risk(spare: int | None) -> bool:
    """Whether a visit with so many minutes to spare begins late, or nearly so."""
    return spare is not None and spare < AT_RISK_MINUTES


def pause_inside(item: RoundFigures) -> float:
    """The part of the break that lies inside the round, [s]."""
    if item.pause_from is None or item.pause_to is None:
        return 0.0
    inside = min(item.pause_to, item.back_at) - max(item.pause_from, item.depart_at)
    return max(0.0, inside.total_seconds())


def moves_between(before: Placement, after: Placement) -> tuple[int, int]:
    """Visits that leave their day, and those that keep it but change hands; new and gone ones are neither."""
    moved = changed = 0
    for key in before.keys() & after.keys():
        old, new = before[key], after[key]
        moved += len(old.keys() - new.keys())
        changed += sum(new[day] != who for day, who in old.items() if day in new)
    return moved, changed
