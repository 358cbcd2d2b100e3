"""The isolation world with several rows behind every page, so that a query a row shows itself."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone
from django_scopes import scope

from accounts.audit import record_event
from accounts.models import Invitation
from accounts.roles import Role
from service.sites.models import ClientAccess, Site, Spa, SpaPhoto
from service.stock.models import SiteProduct
from service.visits.decide import decide
from service.visits.drafts import save_draft
from service.visits.inspection import ITEMS, answer_inspection
from service.visits.models import (
    Amendment,
    Closure,
    Defect,
    Moment,
    Photo,
    Reading,
    StepState,
    Task,
    TaskKind,
    TaskState,
    TreatmentStep,
    Verdict,
    Visit,
    VisitState,
)
from service.visits.readings import ReadingInput, record_readings
from service.visits.record import content_of, write_record
from service.visits.whole import gathered
from tests.factories import (
    BatchFactory,
    ClientFactory,
    InstrumentFactory,
    PersonFactory,
    ProductFactory,
    SiteFactory,
    SpaFactory,
    VisitFactory,
)
from tests.isolation.world import PIXEL, World, make_world
from tests.personas import Firm

# Below what the firm's guideline (25-C DCMR 404.2) allows, so that there is something to dose.
LOW_WATER = {
    "free_chlorine_mg_l": "0.6",
    "ph": "7.0",
    "temperature_c": "38",
    "total_alkalinity_mg_l": "60",
    "calcium_hardness_mg_l": "180",
}
GOOD_WATER = {"free_chlorine_mg_l": "4.0", "ph": "7.4", "total_alkalinity_mg_l": "100"}
ROWS = 2


def busy_world(name: str, times: int) -> World:
    """A firm whose every list holds a few rows; ``times`` as many with another number."""
    world = make_world(name)
    firm, seen = world.firm, world.seen
    with scope(organisation=firm.organisation):
        for number in range(ROWS * times):
            _of_the_firm(firm, number)
            _of_the_client(firm, seen, number)
            _another_spa(firm, seen["site"], number)
            _of_the_spa(firm, seen["spa"], number)
            _of_the_open_visit(firm, seen, number)
            _of_the_record(firm, seen["record"], number)
        _worked_on(firm, seen["visit"])
    return world


def _of_the_firm(firm: Firm, number: int) -> None:
    owned = {"organisation": firm.organisation}
    product = ProductFactory(**owned, substance=("sodium_hypochlorite", "sodium_bicarbonate")[number % 2])
    for _ in range(2):
        BatchFactory(product=product)
    InstrumentFactory(**owned)
    manager = PersonFactory(**owned, roles=[Role.RENTAL_MANAGER])
    ClientAccess.objects.create(**owned, client=firm.client, person=manager)
    PersonFactory(**owned, roles=[Role.TECHNICIAN, Role.OFFICE])
    record_event(action="visit.planned", subject=product, by=firm.office)
    Invitation.objects.create(
        **owned,
        email=f"new-{number}@example.org",
        name="New person",
        roles=["technician"],
        secret_digest=f"{number}-{firm.organisation.pk}",
        invited_by=firm.owner,
        expires_at=timezone.now() + timedelta(days=7),
    )


def _of_the_client(firm: Firm, seen: dict[str, Any], number: int) -> None:
    """More clients with their sites, and more sites of the client that is looked at."""
    client = ClientFactory(organisation=firm.organisation)
    for manager in (firm.rental_manager,):
        ClientAccess.objects.create(organisation=firm.organisation, client=client, person=manager)
    for owner in (client, seen["client"]):
        site = SiteFactory(client=owner)
        _another_spa(firm, site, number)


def _another_spa(firm: Firm, site: Site, number: int) -> None:
    spa = SpaFactory(site=site, commissioned_on=timezone.localdate() - timedelta(days=400))
    for role in (Role.TECHNICIAN, Role.OFFICE, Role.OWNER):
        VisitFactory(spa=spa, technician=firm.people[role], sequence=number, changeover=True)
    VisitFactory(spa=spa, technician=None, planned_on=timezone.localdate() + timedelta(days=2))
    _signed(firm, spa, days_ago=3)
    _ended(firm, spa)
    _wrong(firm, spa)


def _of_the_spa(firm: Firm, spa: Spa, number: int) -> None:
    owned = {"organisation": firm.organisation}
    done = _signed(firm, spa, days_ago=4 + number)
    _ended(firm, spa)
    SpaPhoto.objects.create(**owned, spa=spa, file=PIXEL, added_by=firm.office)
    SiteProduct.objects.create(**owned, site=spa.site, product=ProductFactory(organisation=firm.organisation))
    Defect.objects.create(
        **owned, spa=spa, description="Jet loose", found_by=firm.technician, consent="waiting"
    )
    Closure.objects.create(
        **owned,
        spa=spa,
        visit=done,
        reason="Cloudy",
        closed_at=done.ended_at - timedelta(days=1),
        closed_by=firm.technician,
        reopened_at=done.ended_at,
        reopened_by=firm.technician,
        reopened_visit=done,
    )


def _of_the_open_visit(firm: Firm, seen: dict[str, Any], number: int) -> None:
    owned, visit = {"organisation": firm.organisation}, seen["visit"]
    Photo.objects.create(**owned, visit=visit, file=PIXEL, digest="0" * 64, taken_by=firm.technician)
    # A repeat of what was read already: both stay, one governs.
    Reading.objects.create(
        **owned,
        visit=visit,
        parameter="ph",
        typed="7.3",
        typed_unit="",
        value="7.3",
        governs=False,
        taken_by=firm.technician,
        instrument=InstrumentFactory(**owned),
    )
    TreatmentStep.objects.create(
        **owned,
        visit=visit,
        decision=seen["step"].decision,
        order=10 + number,
        action="wait",
        planned={"minutes": 5},
        state=StepState.SKIPPED,
        reason="Not needed",
    )
    kind = TaskKind.values[number]
    Task.objects.create(**owned, visit=visit, kind=kind, state=TaskState.DUE)


def _of_the_record(firm: Firm, record: Any, number: int) -> None:
    Amendment.objects.create(
        organisation=firm.organisation,
        record=record,
        corrects=f"Line {number}",
        was="7.4",
        becomes="7.5",
        reason="Misread",
        made_by=firm.technician,
    )


def _worked_on(firm: Firm, visit: Visit) -> None:
    """The open visit half way: looked at, read, decided, something added, something typed and unsaved."""
    by = firm.technician
    answers = {item.key: ("yes", "") for item in ITEMS}
    answer_inspection(visit=visit, answers=answers, by=by, expected_revision=None)
    readings = [ReadingInput(name, typed) for name, typed in LOW_WATER.items()]
    record_readings(visit=visit, moment=Moment.BEFORE, readings=readings, by=by, expected_revision=None)
    decision = decide(visit=visit, moment=Moment.BEFORE, by=by)
    for step in TreatmentStep.objects.filter(decision=decision, product__isnull=False)[:1]:
        TreatmentStep.objects.filter(pk=step.pk).update(
            state=StepState.DONE,
            done_at=timezone.now(),
            done_by=by,
            actual_mass_g=step.planned_mass_g,
            wait_until=timezone.now() + timedelta(minutes=30),
        )
    for role in (Role.TECHNICIAN, Role.OFFICE, Role.OWNER):
        for section in ("look", "do"):
            save_draft(visit=visit, section=section, fields={"shell-note": "Scr"}, by=firm.people[role])


def _signed(firm: Firm, spa: Spa, *, days_ago: int) -> Visit:
    ended = timezone.now() - timedelta(days=days_ago)
    visit: Visit = VisitFactory(
        spa=spa,
        technician=firm.technician,
        planned_on=timezone.localdate() - timedelta(days=days_ago),
        ended_at=ended,
        holds_until=ended + timedelta(days=30),
        tested_at=ended,
        verdict=Verdict.FIT_NOW,
    )
    for parameter, typed in GOOD_WATER.items():
        Reading.objects.create(
            organisation=firm.organisation,
            visit=visit,
            parameter=parameter,
            typed=typed,
            typed_unit="",
            value=Decimal(typed),
            taken_at=ended,
            taken_by=firm.technician,
        )
    written = content_of(gathered(visit), signed_by=firm.technician, owner_signature="", closures=[])
    write_record(visit, written, signed_by=firm.technician)
    Visit.objects.filter(pk=visit.pk).update(state=VisitState.SIGNED)
    visit.refresh_from_db()
    return visit


def _ended(firm: Firm, spa: Spa) -> None:
    VisitFactory(
        spa=spa,
        technician=firm.technician,
        planned_on=timezone.localdate() - timedelta(days=1),
        state=VisitState.NO_ACCESS,
        end_reason="Gate locked",
    )


def _wrong(firm: Firm, spa: Spa) -> None:
    owned = {"organisation": firm.organisation, "spa": spa}
    Defect.objects.create(**owned, description="Cover torn", found_by=firm.technician, consent="waiting")
    Closure.objects.create(**owned, reason="Cloudy", closed_by=firm.technician)
