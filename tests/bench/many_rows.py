"""Rows by the thousand for measuring pages: a firm with years of signed visits, laid out in batches.

The same seed gives the same figures. Needs Django set up.
"""

import random
import uuid
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import islice
from types import SimpleNamespace
from typing import Any

from django.db import connection, transaction
from django.utils import timezone
from django_scopes import scope, scopes_disabled

from accounts.models import AuditEvent, Person
from accounts.roles import Role
from service.runs.models import Run, RunState
from service.sites.models import Client, ClientAccess, Site, Spa
from service.visits.models import (
    Closure,
    Defect,
    Reading,
    Record,
    Task,
    TaskKind,
    TaskState,
    Verdict,
    Visit,
    VisitState,
)
from tests.bench.copied_rows import copy_visits
from tests.budgets.world import busy_world
from tests.personas import Firm

BATCH = 1000
SPAS_A_CLIENT = 5
CLIENTS_OF_THE_MANAGER = 10
STOPS_TODAY = 14
READ = {"free_chlorine_mg_l": 4.0, "ph": 7.4, "total_alkalinity_mg_l": 100.0, "temperature_c": 38.0}


def fill(name: str, *, spas: int, visits: int, times: int, seed: int) -> dict[str, Any]:
    """Make the firm with ``visits`` signed visits spread over ``spas``; the keys of what pages are about.

    times  So many times the visits at the same spas, further back.
    """
    chance = random.Random(seed)
    world = busy_world(name, times=1)
    firm = world.firm
    with scope(organisation=firm.organisation):
        listed = [world.seen["spa"], *_spas(firm, spas - 1)]
        _ahead(firm, listed)
        template = world.seen["record"].content
        for batch in _batches(_visits(firm, listed, visits, chance)):
            _signed(firm, batch, template, chance)
    if times > 1:
        copy_visits(times=times, days=7 * -(-visits // spas))
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    else:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA optimize=0x10002")
    return {
        "people": {role.value: str(firm.people[role].pk) for role in Role},
        "seen": {key: [row._meta.label, str(row.pk)] for key, row in world.seen.items()},
    }


def find_world(keys: Mapping[str, Any]) -> Any:
    """What ``fill`` made, as the isolation tests' world: ``firm.people`` by role, ``seen`` by name."""
    with scopes_disabled():
        people = {role: Person.objects.get(pk=keys["people"][role.value]) for role in Role}
    seen = {name: SimpleNamespace(pk=_key(pk)) for name, (_, pk) in keys["seen"].items()}
    return SimpleNamespace(firm=SimpleNamespace(people=people), seen=seen)


def _key(pk: str) -> Any:
    return int(pk) if pk.isdecimal() else uuid.UUID(pk)


def _batches(rows: Iterable[Any]) -> Iterator[list[Any]]:
    given = iter(rows)
    while batch := list(islice(given, BATCH)):
        yield batch


def _spas(firm: Firm, number: int) -> list[Spa]:
    owned = {"organisation": firm.organisation}
    clients = [Client(**owned, name=f"Lets of {at:04}") for at in range(-(-number // SPAS_A_CLIENT))]
    sites = [Site(**owned, client=client, name=f"{client.name} cabin") for client in clients]
    spas = [
        Spa(
            **owned,
            site=sites[at // SPAS_A_CLIENT],
            name=f"Tub {at % SPAS_A_CLIENT + 1}",
            volume_l=1250,
            volume_basis="plate",
        )
        for at in range(number)
    ]
    for model, rows in ((Client, clients), (Site, sites), (Spa, spas)):
        model.objects.bulk_create(rows, batch_size=BATCH)
    ClientAccess.objects.bulk_create(
        ClientAccess(**owned, client=client, person=firm.rental_manager)
        for client in clients[:CLIENTS_OF_THE_MANAGER]
    )
    return spas


def _ahead(firm: Firm, spas: list[Spa]) -> None:
    """Two planned visits to every spa, and a day's work for the technician."""
    today = timezone.localdate()
    days = [(spa, today + timedelta(days=1 + at % 14)) for at, spa in enumerate(spas + spas)]
    days += [(spa, today) for spa in spas[1 : 1 + STOPS_TODAY * SPAS_A_CLIENT]]
    Visit.objects.bulk_create(
        (
            Visit(organisation=firm.organisation, spa=spa, technician=firm.technician, planned_on=day)
            for spa, day in days
        ),
        batch_size=BATCH,
    )


def _visits(firm: Firm, spas: list[Spa], number: int, chance: random.Random) -> Iterator[Visit]:
    """Visits from last week back, one a spa a week."""
    now = timezone.now()
    for at in range(number):
        ended = now - timedelta(days=7 * (1 + at // len(spas)), minutes=chance.randrange(600))
        yield Visit(
            organisation=firm.organisation,
            spa=spas[at % len(spas)],
            technician=firm.technician,
            planned_on=ended.date(),
            ended_at=ended,
            started_at=ended - timedelta(minutes=30),
            tested_at=ended,
            holds_until=ended + timedelta(days=7),
            verdict=Verdict.FIT_NOW,
        )


@transaction.atomic
def _signed(firm: Firm, visits: list[Visit], template: Any, chance: random.Random) -> None:
    owned, by = {"organisation": firm.organisation}, firm.technician
    Visit.objects.bulk_create(visits)
    Reading.objects.bulk_create(
        Reading(
            **owned,
            visit=visit,
            parameter=parameter,
            typed=f"{value:.1f}",
            typed_unit="",
            value=Decimal(f"{value:.1f}"),
            taken_at=visit.tested_at,
            taken_by=by,
        )
        for visit in visits
        for parameter, usual in READ.items()
        for value in (usual * chance.uniform(0.95, 1.05),)
    )
    Task.objects.bulk_create(
        Task(**owned, visit=visit, kind=TaskKind.FILTER_RINSE, state=TaskState.DONE, done_at=visit.ended_at)
        for visit in visits[::3]
    )
    Record.objects.bulk_create(
        Record(
            **owned,
            visit=visit,
            content=template,
            canonical="",
            digest=f"{chance.getrandbits(256):064x}",
            signed_at=visit.ended_at,
            signed_by=by,
        )
        for visit in visits
    )
    _beside(firm, visits)
    Visit.objects.filter(pk__in=[visit.pk for visit in visits]).update(state=VisitState.SIGNED)


def _beside(firm: Firm, visits: list[Visit]) -> None:
    """What is found now and then, the audit trail and the background work."""
    owned, by = {"organisation": firm.organisation}, firm.technician
    Defect.objects.bulk_create(
        Defect(
            **owned,
            spa=visit.spa,
            visit=visit,
            description="Cover torn",
            found_by=by,
            found_at=visit.ended_at,
            closed_at=visit.ended_at,
            closed_by=by,
        )
        for visit in visits[::20]
    )
    Closure.objects.bulk_create(
        Closure(
            **owned,
            spa=visit.spa,
            visit=visit,
            reason="Cloudy",
            closed_at=visit.started_at,
            closed_by=by,
            reopened_at=visit.ended_at,
            reopened_by=by,
            reopened_visit=visit,
        )
        for visit in visits[::50]
    )
    AuditEvent.objects.bulk_create(
        AuditEvent(
            **owned,
            at=_moment(visit),
            actor_id=by.pk,
            action=action,
            subject_type="visits.visit",
            subject_id=str(visit.pk),
            detail={"revision": 1},
        )
        for visit in visits
        for action in ("visit.started", "visit.signed")
    )
    Run.objects.bulk_create(
        Run(
            **owned,
            task="reports.build_visit_record",
            title="Visit record",
            state=RunState.DONE,
            arguments={"visit": str(visit.pk)},
            about=visit.pk,
        )
        for visit in visits
    )


def _moment(visit: Visit) -> datetime:
    assert visit.ended_at is not None
    return visit.ended_at
