"""Two plans of a week side by side: what they cost in hours and kilometres, and what is elsewhere."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from service.rounds.models import PlannedVisit, WeekPlan
from service.rounds.plan_values import day_name


@dataclass(frozen=True)
class FigureChange:
    """One figure of both plans. name: as in PlanFigures, for pages to label."""

    name: str
    was: float
    now: float

    @property
    def by(self) -> float:
        """How much more it is now."""
        return round(self.now - self.was, 1)


@dataclass(frozen=True)
class MovedVisit:
    """A visit that is elsewhere, new, or gone. was, now: "Monday 1 June, Bea", "" where it has no place."""

    spa: str
    site: str
    was: str
    now: str


@dataclass(frozen=True)
class PlanChange:
    """Everything that differs."""

    figures: tuple[FigureChange, ...]
    moved: tuple[MovedVisit, ...]


def compare(plan: WeekPlan, other: WeekPlan) -> PlanChange:
    """What ``plan`` does otherwise than ``other``, both of the same week. Two queries."""
    names = plan.figures.keys() & other.figures.keys()
    figures = tuple(FigureChange(name, other.figures[name], plan.figures[name]) for name in sorted(names))
    before, after = _places(other), _places(plan)
    return PlanChange(figures, tuple(_moved(before, after)))


Place = tuple[date | None, str]


def _places(plan: WeekPlan) -> dict[str, list[PlannedVisit]]:
    found: dict[str, list[PlannedVisit]] = {}
    rows = plan.visits.select_related("spa__site", "technician")
    for row in rows.defer("spa__site__access_code", "spa__site__access_notes").order_by(
        "spa__name", "key", "day"
    ):
        found.setdefault(row.key, []).append(row)
    return found


def _moved(
    before: Mapping[str, list[PlannedVisit]], after: Mapping[str, list[PlannedVisit]]
) -> list[MovedVisit]:
    """Visits of which day or person differ; those of one key are paired in order."""
    moved = []
    for key in dict.fromkeys([*before, *after]):
        old = {_place(row): row for row in before.get(key, [])}
        new = {_place(row): row for row in after.get(key, [])}
        gone = [row for place, row in old.items() if place not in new]
        come = [row for place, row in new.items() if place not in old]
        for number in range(max(len(gone), len(come))):
            was = gone[number] if number < len(gone) else None
            now = come[number] if number < len(come) else None
            spa = (now or was).spa  # type: ignore[union-attr]
            moved.append(MovedVisit(spa.name, spa.site.name, _said(was), _said(now)))
    return moved


def _place(row: PlannedVisit) -> Place:
    return row.day, str(row.technician_id)


def _said(row: PlannedVisit | None) -> str:
    if row is None or row.day is None or row.technician is None:
        return ""
    return f"{day_name(row.day)}, {row.technician.name}"
