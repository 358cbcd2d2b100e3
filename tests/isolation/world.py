"""Two firms with one of everything, for walking every address with every pair of eyes."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.core.files.base import ContentFile
from django.utils import timezone
from django_scopes import scope

from accounts.models import AccessToken, Invitation
from accounts.tokens import make_token
from reports.models import ReportFile, ReportKind
from service.importing.models import Effect, ListImport, ListRow, ListState
from service.runs.models import Run, RunState
from service.sites.models import Client, ClientAccess, Site, Spa, SpaPhoto
from service.stock.models import SiteProduct
from service.visits.models import (
    Amendment,
    Closure,
    Decision,
    Defect,
    Moment,
    Photo,
    Reading,
    TreatmentStep,
    Verdict,
    Visit,
    VisitState,
)
from service.visits.record import content_of, write_record
from service.visits.whole import gathered
from tests.factories import (
    AgreementFactory,
    BatchFactory,
    BookingFactory,
    CalendarFactory,
    DayOffFactory,
    HandDriveFactory,
    InstrumentFactory,
    ProductFactory,
    ShiftFactory,
    VisitFactory,
)
from tests.personas import Firm, make_firm
from tests.rounds.planned import planned_round

PIXEL = ContentFile(b"\xff\xd8\xff\xd9", name="photo.jpg")


@dataclass
class World:
    """A firm and the objects its addresses name: ``seen`` by its rental manager, ``hidden`` from them."""

    firm: Firm
    seen: dict[str, Any]
    hidden: dict[str, Any]


def make_world(name: str) -> World:
    """A firm with two clients, each with a site, a spa, an open and a signed visit and all under them."""
    firm = make_firm(name)
    with scope(organisation=firm.organisation):
        shared = _firm_objects(firm)
        seen = {**shared, **_client_objects(firm, firm.client, firm.site, firm.spa)}
        hidden = {**shared, **_client_objects(firm, firm.hidden_client, firm.hidden_site, firm.hidden_spa)}
    return World(firm, seen, hidden)


def _firm_objects(firm: Firm) -> dict[str, Any]:
    organisation = firm.organisation
    product = ProductFactory(organisation=organisation)
    planned = planned_round(firm.technician, firm.spa)
    return {
        "person": firm.technician,
        "planned_round": planned,
        "planned_visit": planned.stops.get(),
        "week_plan": planned.plan,
        "product": product,
        "batch": BatchFactory(product=product),
        "instrument": InstrumentFactory(organisation=organisation),
        "manager": firm.rental_manager,
        "list": _list(firm, ListState.READY),
        "list_done": _list(firm, ListState.DONE),
        "token": _token(firm),
        "day_off": DayOffFactory(technician=firm.technician),
        "shift": ShiftFactory(technician=firm.technician),
        "drive": HandDriveFactory(site=firm.site, other_site=firm.hidden_site),
        "invitation": _invitation(firm, "technician"),
        "manager_invitation": _invitation(firm, "rental_manager"),
    }


def _list(firm: Firm, state: ListState) -> ListImport:
    listing = ListImport.objects.create(
        organisation=firm.organisation,
        kind="client",
        file_name=f"{state}.csv",
        state=state,
        totals={"client": {"new": 1, "changed": 0, "same": 0, "wrong": 0}},
        uploaded_by=firm.office,
    )
    ListRow.objects.create(
        organisation=firm.organisation,
        listing=listing,
        kind="client",
        number=2,
        order=1,
        name="Client of a list",
        effect=Effect.NEW,
        object_id=firm.client.pk,
        payload='{"values": {}, "parent": null}',
    )
    return listing


def _token(firm: Firm) -> AccessToken:
    token, _ = make_token(name="Booking sync", role="auditor", days=30, by=firm.owner)
    return token


def _invitation(firm: Firm, role: str) -> Invitation:
    return Invitation.objects.create(
        organisation=firm.organisation,
        email=f"new-{role}@example.org",
        name="New person",
        roles=[role],
        secret_digest=f"{role}-{firm.organisation.pk}",
        invited_by=firm.owner,
        expires_at=timezone.now() + timedelta(days=7),
    )


def _rounds_objects(site: Site, spa: Spa) -> dict[str, Any]:
    now = timezone.now()
    return {
        "agreement": AgreementFactory(spa=spa),
        "calendar": CalendarFactory(site=site),
        "booking": BookingFactory(site=site, arrives_at=now, leaves_at=now + timedelta(days=3)),
    }


def _client_objects(firm: Firm, client: Client, site: Site, spa: Spa) -> dict[str, Any]:
    owned = {"organisation": firm.organisation}
    technician = firm.technician
    product = ProductFactory(organisation=firm.organisation)
    visit = VisitFactory(spa=spa, technician=technician, state=VisitState.ON_SITE)
    done = VisitFactory(
        spa=spa,
        technician=technician,
        planned_on=timezone.localdate() - timedelta(days=2),
        ended_at=timezone.now() - timedelta(days=2),
        verdict=Verdict.FIT_NOW,
    )
    decision = Decision.objects.create(
        **owned,
        visit=visit,
        moment=Moment.BEFORE,
        request={"readings": {}},
        response={"verdict": "fit_now", "findings": [], "treatment": [], "unmet": [], "cautions": []},
        engine_version="test",
    )
    step = TreatmentStep.objects.create(
        **owned, visit=visit, decision=decision, order=1, action="wait", planned={"minutes": 5}
    )
    reading = Reading.objects.create(
        **owned,
        visit=visit,
        parameter="ph",
        typed="7.4",
        typed_unit="",
        value="7.4",
        taken_by=technician,
    )
    photo = Photo.objects.create(**owned, visit=visit, file=PIXEL, digest="0" * 64, taken_by=technician)
    defect = Defect.objects.create(
        **owned, spa=spa, visit=visit, description="Cover torn", found_by=technician, consent="waiting"
    )
    closure = Closure.objects.create(**owned, spa=spa, visit=visit, reason="Cloudy", closed_by=technician)
    written = content_of(gathered(done), signed_by=technician, owner_signature="", closures=[])
    record = write_record(done, written, signed_by=technician)
    Amendment.objects.create(
        **owned, record=record, corrects="pH", was="7.4", becomes="7.5", reason="Misread", made_by=technician
    )
    Visit.objects.filter(pk=done.pk).update(state=VisitState.SIGNED)
    done.refresh_from_db()
    run = Run.objects.create(
        **owned,
        task="reports.build_visit_record",
        title="Visit record",
        state=RunState.DONE,
    )
    for kind in ReportKind:
        report = ReportFile.objects.create(
            **owned,
            visit=done,
            kind=kind,
            file=ContentFile(b"%PDF-1.7", name="record.pdf"),
            digest="2" * 64,
            pages=1,
        )
    access = ClientAccess.objects.filter(client=client).first() or ClientAccess(
        **owned, client=client, person=firm.auditor
    )
    access.save()
    return {
        **_rounds_objects(site, spa),
        "client": client,
        "access": access,
        "site": site,
        "spa": spa,
        "spa_photo": SpaPhoto.objects.create(**owned, spa=spa, file=PIXEL, added_by=firm.office),
        "kept": SiteProduct.objects.create(**owned, site=site, product=product),
        "visit": visit,
        "signed_visit": done,
        "step": step,
        "reading": reading,
        "photo": photo,
        "defect": defect,
        "closure": closure,
        "record": record,
        "run": run,
        "report": report,
    }
