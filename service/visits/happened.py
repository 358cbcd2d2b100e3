"""What explains a spa's readings: drains, closures, large doses, records amended, visits left unsigned."""

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import CharField, F, QuerySet, Value

from service.chemistry.treatment.products import Product
from service.shell.timeplot import Event
from service.sites.models import Spa
from service.visits.changes import CHANGES_WATER
from service.visits.models import (
    ENDED_WITHOUT_SIGNING,
    Amendment,
    Closure,
    StepState,
    Task,
    TaskKind,
    TaskState,
    TreatmentStep,
    Visit,
    VisitState,
)

# Of one page; years of a busy spa stay below it.
MOST_EVENTS = 1500
# These ended nowhere: somebody else came, or nobody had to.
_NO_GAP = (VisitState.HANDED_OVER, VisitState.CANCELLED)
_DRAINED, _REPLACED = "Drained and refilled", "Part of the water replaced"
_CLOSED, _REOPENED = "Closed", "Reopened"
_DOSED, _AMENDED, _UNSIGNED = "Large dose", "Record amended", "Visit not signed"
# Above the rows of the picture, in this order; a closure's row shows how long it stood.
ROWS = (_DRAINED, _REPLACED, _CLOSED, _DOSED, _AMENDED, _UNSIGNED)
# What changes the water, or who may use it, crosses every plot.
_ACROSS = (_DRAINED, _CLOSED, _REOPENED)


class _Told(NamedTuple):
    """One row of the union; what concerns the dose is empty for everything else."""

    kind: str
    at: datetime
    visit: UUID | None
    words: str
    mass_g: Decimal | None = None
    strength: Decimal | None = None
    substance: str | None = None
    form: str | None = None
    unit_mass_g: Decimal | None = None
    label_max_g_per_m3: Decimal | None = None


@dataclass(frozen=True)
class Happening:
    """One thing that happened. kind: one of the rows, or Reopened; words: the same with its details."""

    kind: str
    at: datetime
    visit: UUID | None
    words: str

    @property
    def crosses(self) -> bool:
        return self.kind in _ACROSS


def happenings(spa: Spa, *, since: datetime, until: datetime) -> list[Happening]:
    """What happened at the spa from ``since`` to ``until``, oldest first; one query, bounded.

    A large dose is as much of one product at one visit as may be given at once, or more.
    """
    told = _doses(spa, since).union(
        _drains(spa, since), *_closures(spa, since), _amended(spa, since), _unsigned(spa, since), all=True
    )
    rows = [_Told(*row) for row in told.order_by("-at")[:MOST_EVENTS]]
    found = [*_large(spa, rows), *_plain(rows)]
    return sorted((one for one in found if one.at <= until), key=lambda one: one.at)


def lane_rows(found: Iterable[Happening]) -> dict[str, list[Event]]:
    """The rows of the picture: each kind that happened, a closure until the spa was reopened."""
    rows: dict[str, list[Event]] = {}
    standing: Event | None = None
    for one in found:
        if one.kind == _REOPENED:
            if standing is not None:
                rows[_CLOSED][-1] = Event(standing.at, standing.word, until=one.at)
            standing = None
            continue
        event = Event(one.at, one.words)
        rows.setdefault(one.kind, []).append(event)
        if one.kind == _CLOSED:
            standing = event
    return {kind: rows[kind] for kind in ROWS if kind in rows}


_DOSE = {
    "mass_g": "actual_mass_g",
    "strength": "product__active_fraction",
    "substance": "product__substance",
    "dose_form": "product__form",
    "unit_mass_g": "product__unit_mass_g",
    "label_max_g_per_m3": "product__label_max_g_per_m3",
}


def _told(
    rows: QuerySet[Any], kind: Any, at: str, visit: str, words: str = "", *, dose: bool = False
) -> QuerySet[Any, Any]:
    """One question in the form that all share. The first of a union gives the columns their types."""
    nothing = Value(None, output_field=CharField())
    of_dose = {name: F(path) if dose else nothing for name, path in _DOSE.items()}
    said = F(words) if words else Value("")
    told = rows.order_by().annotate(what=kind, at=F(at), of_visit=F(visit), words=said, **of_dose)
    columns: QuerySet[Any, Any] = told.values_list("what", "at", "of_visit", "words", *_DOSE)
    return columns


def _doses(spa: Spa, since: datetime) -> QuerySet[Any, Any]:
    """Every dose, and every part of the water replaced, which has no product."""
    done = TreatmentStep.objects.filter(
        visit__spa=spa, state=StepState.DONE, action__in=CHANGES_WATER, done_at__gte=since
    )
    return _told(done, F("action"), "done_at", "visit_id", "product__name", dose=True)


def _drains(spa: Spa, since: datetime) -> QuerySet[Any, Any]:
    done = Task.objects.filter(
        visit__spa=spa, kind=TaskKind.DRAIN_REFILL, state=TaskState.DONE, done_at__gte=since
    )
    return _told(done, Value(_DRAINED), "done_at", "visit_id")


def _closures(spa: Spa, since: datetime) -> list[QuerySet[Any, Any]]:
    rows = Closure.objects.filter(spa=spa)
    reopened = rows.filter(reopened_at__gte=since)
    return [
        _told(rows.filter(closed_at__gte=since), Value(_CLOSED), "closed_at", "visit_id", "reason"),
        _told(reopened, Value(_REOPENED), "reopened_at", "reopened_visit_id"),
    ]


def _amended(spa: Spa, since: datetime) -> QuerySet[Any, Any]:
    """Shown where the visit is whose record was amended: its readings are in question, not today's."""
    rows = Amendment.objects.filter(record__visit__spa=spa, record__signed_at__gte=since)
    return _told(rows, Value(_AMENDED), "record__signed_at", "record__visit_id", "corrects")


def _unsigned(spa: Spa, since: datetime) -> QuerySet[Any, Any]:
    states = [state for state in ENDED_WITHOUT_SIGNING if state not in _NO_GAP]
    rows = Visit.objects.filter(spa=spa, state__in=states, ended_at__gte=since)
    return _told(rows, Value(_UNSIGNED), "ended_at", "pk", "state")


def _plain(rows: Iterable[_Told]) -> list[Happening]:
    return [_happening(row) for row in rows if row.kind != "add"]


def _happening(row: _Told) -> Happening:
    if row.kind == "replace_water":
        return Happening(_REPLACED, row.at, row.visit, _REPLACED)
    details = VisitState(row.words).label.lower() if row.kind == _UNSIGNED else row.words
    return Happening(row.kind, row.at, row.visit, f"{row.kind}: {details}" if details else row.kind)


def _large(spa: Spa, rows: Iterable[_Told]) -> list[Happening]:
    """Doses of one product at one visit, where together they reach the largest single dose."""
    total: dict[tuple[UUID | None, str], float] = defaultdict(float)
    newest: dict[tuple[UUID | None, str], _Told] = {}
    for row in rows:
        if row.kind == "add" and row.mass_g and row.words:
            total[row.visit, row.words] += float(row.mass_g)
            newest.setdefault((row.visit, row.words), row)
    return [
        Happening(_DOSED, row.at, row.visit, f"{_DOSED}: {total[key]:.0f} g {row.words}")
        for key, row in newest.items()
        if total[key] >= _largest_g(row, spa)
    ]


def _largest_g(row: _Told, spa: Spa) -> float:
    """The largest single dose of the product for the spa, [g]; no end for tablets that dissolve slowly."""
    product = Product(
        id=row.words,
        substance=str(row.substance),
        active_fraction=float(row.strength or 1),
        form=str(row.form),
        unit_mass_g=_number(row.unit_mass_g),
        label_max_g_per_m3=_number(row.label_max_g_per_m3),
    )
    return math.inf if product.in_feeder else product.cap.g_per_m3 * spa.volume_l / 1000


def _number(value: Decimal | None) -> float | None:
    return None if value is None else float(value)
