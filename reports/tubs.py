"""What a rental manager sees of their own tubs. Nothing of anybody else, no staff, no access codes."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Count, Q, QuerySet

from accounts.models import Person
from reports.quantities import mass
from service.sites.models import Spa
from service.sites.visible import visible_spas
from service.visits.clock import day_of, zone_of
from service.visits.defects import visible_defects
from service.visits.fitness import Fitness, fitness_of_spas
from service.visits.models import (
    OPEN_STATES,
    Closure,
    Consent,
    Defect,
    Record,
    TaskKind,
    TaskState,
    Visit,
    VisitState,
)
from service.visits.visible import visible_records, visible_visits

RECORDS_SHOWN = 12
CLOSURES_SHOWN = 10
SEALED = ("site__access_code", "site__access_notes")


@dataclass
class Tub:
    """One tub as a line: how it stands, what comes next, what waits for an answer."""

    spa: Spa
    fitness: Fitness
    next_visit: Visit | None = None
    changeover_today: bool = False
    waiting: list[Defect] = field(default_factory=list)


@dataclass(frozen=True)
class Work:
    """What was done last: sentences in the order of the work, and the words for the owner."""

    record: Record
    done: Sequence[str]
    note: str


def own_spas(person: Person) -> QuerySet[Spa]:
    """Spas in use that ``person`` may see, without what opens a gate."""
    spas = visible_spas(person).filter(archived_at=None, site__archived_at=None)
    loaded = spas.select_related("site__client__organisation", "organisation").defer(*SEALED)
    return loaded.order_by("site__client__name", "site__name", "name", "pk")


def tubs_of(person: Person, now: datetime) -> list[Tub]:
    """Every tub of the person, with how it stands at ``now``. Five queries, whatever their number."""
    return _tubs(person, list(own_spas(person)), now)


def tub_of(person: Person, spa: Spa, now: datetime) -> Tub:
    """One of the person's tubs, as ``own_spas`` gives it."""
    return _tubs(person, [spa], now)[0]


def _tubs(person: Person, spas: Sequence[Spa], now: datetime) -> list[Tub]:
    fitness = fitness_of_spas(spas, now)
    tubs = {spa.pk: Tub(spa, fitness[spa.pk]) for spa in spas}
    if not tubs:
        return []
    today = day_of(now, zone_of(spas[0].organisation))
    for visit in _visits_ahead(person, tubs, today):
        tub = tubs[visit.spa_id]
        if visit.is_open:
            tub.next_visit = tub.next_visit or visit
        tub.changeover_today |= visit.changeover and visit.planned_on == today
    for defect in visible_defects(person).filter(spa__in=tubs, consent=Consent.WAITING, closed_at=None):
        tubs[defect.spa_id].waiting.append(defect)
    return list(tubs.values())


def _visits_ahead(person: Person, keys: Iterable[UUID], today: date) -> QuerySet[Visit]:
    """Open visits from today on, and today's changeovers that are signed already."""
    changed_over = Q(state=VisitState.SIGNED, changeover=True, planned_on=today)
    ahead = visible_visits(person).filter(Q(state__in=OPEN_STATES) | changed_over)
    return ahead.filter(spa__in=keys, planned_on__gte=today).order_by(
        "planned_on", "window_from", "sequence", "pk"
    )


def records_of(person: Person, spa: Spa) -> list[Record]:
    """The last signed records of a spa, newest first, each with the number of its ``corrections``."""
    records = visible_records(person).filter(visit__spa=spa).select_related("visit")
    counted = records.defer("canonical").annotate(corrections=Count("amendments"))
    return list(counted.order_by("-signed_at")[:RECORDS_SHOWN])


def last_work(record: Record, spa: Spa) -> Work:
    """What was done at the visit of a record, and why. Asks nothing of the database."""
    content, us_units = record.content, spa.organisation.us_units
    doses = [step for step in content["steps"] if step["state"] == "done" and step["product"]]
    added = [_added(step, us_units=us_units) for step in doses]
    jobs = [_job(task) for task in content["tasks"] if task["state"] == TaskState.DONE]
    return Work(record, [*added, *jobs], record.visit.note_to_owner)


def _added(step: Mapping[str, Any], *, us_units: bool) -> str:
    product = step["product"]["name"]
    why = f", to {step['purpose'].rstrip('.')}" if step["purpose"] else ""
    return f"Added {mass(step['actual_mass_g'], us_units=us_units)} {product}{why}."


def _job(task: Mapping[str, Any]) -> str:
    label = TaskKind(task["kind"]).label
    return f"{label}: {task['why'].rstrip('.')}." if task["why"] else f"{label}."


def closures_of(spa: Spa) -> list[Closure]:
    """The last closures of a spa that the person was let see, newest first."""
    return list(Closure.objects.filter(spa=spa).order_by("-closed_at")[:CLOSURES_SHOWN])
