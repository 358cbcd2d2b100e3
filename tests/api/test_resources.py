"""The same use cases and the same sight as the pages have, in JSON."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django_scopes import scope, scopes_disabled

from accounts.roles import Role
from reports.models import ReportFile, ReportKind
from service.runs.models import Run
from service.sites.models import Client, Spa
from service.visits.canonical import digest
from service.visits.models import Closure, Decision, Defect, Reading, Visit, VisitState
from tests.api.asking import Program, fields_of, problem_of, program
from tests.factories import (
    AgreementFactory,
    BatchFactory,
    ClientFactory,
    InstrumentFactory,
    ProductFactory,
    SiteFactory,
    SpaFactory,
    VisitFactory,
)
from tests.personas import Firm
from tests.visits.working import GOOD, planned, signed, started

LISTS = (
    "clients", "sites", "spas", "fitness", "products", "batches", "instruments", "agreements", "weeks",
    "visits", "closures", "defects", "records",
)  # fmt: skip


@pytest.fixture
def plain_files(settings: Any, tmp_path: Any) -> None:
    settings.MEDIA_ROOT = tmp_path


def items(answer: Any) -> list[dict[str, Any]]:
    assert answer.status_code == 200, answer.content
    listed: list[dict[str, Any]] = answer.json()["items"]
    return listed


def test_a_client_a_site_and_a_spa_are_added_changed_and_archived(firm: Firm, office: Program) -> None:
    made = office.post("clients/", {"name": "Harbour Lets", "kind": "let", "notes": "Pays late"})
    client = made.json()
    assert made["Location"] == f"/api/v1/clients/{client['id']}/"
    site = office.post(
        "sites/", {"client": client["id"], "name": "Quay 3", "latitude": "54.5", "longitude": -3}
    ).json()
    spa = office.post("spas/", {"site": site["id"], "name": "Deck", "volume_l": 900}).json()

    changed = office.patch(f"spas/{spa['id']}/", {"volume_l": 950, "heater_kw": 2.5})
    archived = office.post(f"clients/{client['id']}/archive/")

    assert (changed.json()["volume_l"], changed.json()["heater_kw"]) == (950, "2.5")
    assert (spa["client"], spa["guideline_in_force"]) == (client["id"], "dc_25c")
    assert archived.json()["archived_at"] is not None
    assert spa["id"] not in [row["id"] for row in items(office.get("spas/?state=in_use"))]
    assert [row["id"] for row in items(office.get("spas/?state=archived"))] == [spa["id"]]
    refused = office.post("sites/", {"client": client["id"], "name": "Quay 4"})
    assert "archived" in problem_of(refused, 400)["detail"]
    assert office.post(f"clients/{client['id']}/restore/").json()["archived_at"] is None


def test_how_to_get_in_is_neither_told_nor_taken(firm: Firm, office: Program) -> None:
    site = office.get(f"sites/{firm.site.pk}/")

    assert "4711" not in site.content.decode()
    assert fields_of(office.patch(f"sites/{firm.site.pk}/", {"access_code": "1"})) == ["access_code"]


def test_a_taken_reference_is_told_at_its_field(firm: Firm, office: Program) -> None:
    office.post("clients/", {"name": "One", "reference": "A1"})

    assert fields_of(office.post("clients/", {"name": "Two", "reference": "A1"})) == ["reference"]


def test_products_batches_and_instruments(firm: Firm, office: Program) -> None:
    body = {"name": "Soda", "substance": "sodium_bicarbonate", "active_fraction": "0.99"}
    product = office.post("products/", body).json()
    batch = office.post(
        "batches/", {"product": product["id"], "code": "B7", "expires_on": "2030-01-31"}
    ).json()
    meter = office.post(
        "instruments/", {"name": "Meter", "method": "electrode", "plus_minus": {"ph": "0.02"}}
    )

    assert product["active_fraction"] == "0.99000"
    assert items(office.get(f"batches/?product={product['id']}")) == [batch]
    assert meter.json()["plus_minus"] == {"ph": "0.020"}
    wet = office.patch(f"products/{product['id']}/", {"form": "liquid"})
    assert fields_of(wet) == ["density_g_ml"]
    path = f"instruments/{meter.json()['id']}/"
    assert office.patch(path, {"check_due_on": "2031-05-01"}).json()["check_due_on"] == "2031-05-01"
    assert office.patch(f"batches/{batch['id']}/", {"code": "B8"}).json()["code"] == "B8"


@pytest.mark.parametrize("kind", ["products", "batches", "instruments"])
def test_what_stock_is_out_of_use_is_archived_and_brought_back(
    firm: Firm, office: Program, technician: Program, kind: str
) -> None:
    with scope(organisation=firm.organisation):
        product = ProductFactory(organisation=firm.organisation)
        row = {
            "products": product,
            "batches": BatchFactory(product=product),
            "instruments": InstrumentFactory(organisation=firm.organisation),
        }[kind]
    path = f"{kind}/{row.pk}/"

    assert office.post(f"{path}archive/").json()["archived_at"] is not None
    assert items(office.get(f"{kind}/?state=in_use")) == []
    assert [one["id"] for one in items(office.get(f"{kind}/?state=archived"))] == [str(row.pk)]
    assert office.post(f"{path}restore/").json()["archived_at"] is None
    assert [one["id"] for one in items(office.get(f"{kind}/?state=in_use"))] == [str(row.pk)]
    problem_of(technician.post(f"{path}archive/"), 404)


def test_a_visit_from_its_plan_to_a_decision(firm: Firm, office: Program, technician: Program) -> None:
    day = timezone.localdate().isoformat()
    body = {"spa": str(firm.spa.pk), "planned_on": day, "technician": str(firm.technician.pk)}
    visit = office.post("visits/", body).json()
    path = f"visits/{visit['id']}/"
    assert (visit["state"], visit["technician"]["name"]) == ("planned", firm.technician.name)

    changed = office.patch(
        path, {"instructions": "Mind the dog"}, headers={"If-Match": f'"{visit["revision"]}"'}
    )
    assert changed["ETag"] == f'"{visit["revision"] + 1}"'
    begun = technician.post(f"{path}start/").json()
    assert begun["state"] == "on_site"
    readings = [{"parameter": name, "value": value, "method": "photometer"} for name, value in GOOD.items()]
    read = technician.post(
        f"{path}readings/", {"moment": "before", "readings": readings, "revision": begun["revision"]}
    ).json()
    assert {row["parameter"]: row["typed"] for row in read["readings"]} == GOOD
    decided = technician.post(f"{path}decisions/", {"moment": "before", "revision": read["revision"]})

    assert decided.status_code == 201
    answer = decided.json()["decision"]["answer"]
    assert answer["fit_for_use"] is True
    assert any("label" in caution for caution in answer["cautions"])
    with scope(organisation=firm.organisation):
        assert Decision.objects.get().response == answer
        assert Reading.objects.count() == len(GOOD)
    told = technician.get(f"{path}decisions/").json()
    assert told["decisions"] == [decided.json()["decision"]]
    # No signature through here: the water is closed until a person signs.
    fitness = technician.get(f"spas/{firm.spa.pk}/fitness/").json()
    assert (fitness["state"], fitness["lets_people_in"]) == ("closed", False)


def test_wrong_readings_are_told_by_parameter_and_nothing_is_saved(firm: Firm, technician: Program) -> None:
    with scope(organisation=firm.organisation):
        visit = started(firm)
    readings = [{"parameter": "ph", "value": "77"}, {"parameter": "temperature_c", "value": "38"}]
    body = {"moment": "before", "readings": readings, "revision": visit.revision}

    assert fields_of(technician.post(f"visits/{visit.pk}/readings/", body)) == ["ph"]
    with scope(organisation=firm.organisation):
        assert Reading.objects.count() == 0


def test_who_comes_second_is_told_what_changed_and_saves_nothing(firm: Firm, office: Program) -> None:
    with scope(organisation=firm.organisation):
        visit = planned(firm)
    path = f"visits/{visit.pk}/"
    office.patch(path, {"sequence": 3, "revision": visit.revision})

    told = problem_of(office.patch(path, {"sequence": 4, "revision": visit.revision}), 409)

    assert told["type"].endswith("changed")
    assert told["revision"] == visit.revision + 1
    assert [(change["by"], change["what"]) for change in told["changes"]] == [
        (firm.owner.name, "changed the plan")
    ]
    assert office.get(path).json()["sequence"] == 3
    assert fields_of(office.patch(path, {"sequence": 4})) == ["revision"]
    wrong = office.patch(path, {"sequence": 4}, headers={"If-Match": "*"})
    assert fields_of(wrong) == ["If-Match"]


def test_a_cancelled_visit_keeps_its_reason_and_cannot_be_started(firm: Firm, office: Program) -> None:
    with scope(organisation=firm.organisation):
        visit = planned(firm)
    path = f"visits/{visit.pk}/"

    cancelled = office.post(f"{path}cancel/", {"reason": "Guests left", "revision": visit.revision}).json()

    assert (cancelled["state"], cancelled["end_reason"]) == ("cancelled", "Guests left")
    assert problem_of(office.post(f"{path}start/"), 409)["type"].endswith("refused")


def test_a_technicians_token_does_not_plan_a_round(firm: Firm, technician: Program) -> None:
    body = {"spa": str(firm.spa.pk), "planned_on": timezone.localdate().isoformat()}

    problem_of(technician.post("visits/", body), 404)


def test_filters_of_visits(firm: Firm, office: Program) -> None:
    today = timezone.localdate()
    with scope(organisation=firm.organisation):
        first, second = (
            VisitFactory(spa=firm.spa, planned_on=today + timedelta(days=days)) for days in (1, 5)
        )
        VisitFactory(spa=firm.hidden_spa, planned_on=today, state=VisitState.ON_SITE)

    def found(query: str) -> list[str]:
        return [row["id"] for row in items(office.get(f"visits/?{query}"))]

    assert found(f"spa={firm.spa.pk}") == [str(first.pk), str(second.pk)]
    assert found(f"from_day={today + timedelta(days=2)}") == [str(second.pk)]
    assert found(f"from_day={today + timedelta(days=1)}&to_day={today + timedelta(days=4)}") == [
        str(first.pk)
    ]
    assert found(f"client={firm.client.pk}&state=on_site") == []
    assert len(found("state=on_site")) == 1


def test_changed_since_gives_what_was_added_or_changed(firm: Firm, office: Program) -> None:
    moment = timezone.now() + timedelta(seconds=1)
    assert items(office.get(f"spas/?changed_since={(moment).strftime('%Y-%m-%dT%H:%M:%SZ')}")) == []
    since = (timezone.now() - timedelta(seconds=2)).strftime("%Y-%m-%dT%H:%M:%SZ")

    office.patch(f"spas/{firm.spa.pk}/", {"cover": "New"})

    assert [row["id"] for row in items(office.get(f"spas/?changed_since={since}"))] == [str(firm.spa.pk)]


def test_pages_hold_every_row_once_even_when_rows_come_and_go(firm: Firm, office: Program) -> None:
    day = timezone.localdate()
    with scope(organisation=firm.organisation):
        wanted = [
            str(VisitFactory(spa=firm.spa, planned_on=day + timedelta(days=place // 4)).pk)
            for place in range(9)
        ]
    seen: list[str] = []
    cursor, pages = "", 0
    while cursor is not None:
        answer = office.get(f"visits/?limit=2&cursor={cursor}" if cursor else "visits/?limit=2").json()
        seen += [row["id"] for row in answer["items"]]
        cursor, pages = answer["next"], pages + 1
        with scope(organisation=firm.organisation):
            # A row before the cursor shifts nothing.
            VisitFactory(spa=firm.spa, planned_on=day - timedelta(days=1))

    assert sorted(seen) == sorted(wanted)
    assert pages == 5


def _fill(firm: Firm, rows: int) -> None:
    with scope(organisation=firm.organisation):
        for place in range(rows):
            client = ClientFactory(organisation=firm.organisation)
            spa = SpaFactory(site=SiteFactory(client=client))
            BatchFactory(product=ProductFactory(organisation=firm.organisation))
            InstrumentFactory(organisation=firm.organisation)
            AgreementFactory(spa=spa)
            signed(firm, spa)
            person = firm.technician
            owned = {"organisation": firm.organisation, "spa": spa}
            Defect.objects.create(**owned, description=f"Cover {place}", found_by=person)
            Closure.objects.create(**owned, reason="Cloudy", closed_by=person)


def test_a_list_asks_the_same_few_queries_whatever_its_rows(firm: Firm) -> None:
    def queries() -> dict[str, int]:
        asking, counts = program(firm, Role.AUDITOR), {}
        for name in LISTS:
            with CaptureQueriesContext(
                connection,
            ) as captured:
                assert asking.get(f"{name}/").status_code == 200
            counts[name] = len(captured)
        return counts

    _fill(firm, 1)
    queries()
    few = queries()
    _fill(firm, 4)

    assert queries() == few
    assert max(few.values()) <= 12, few


def test_a_record_is_read_with_its_digest_and_its_pdf(
    firm: Firm, office: Program, manager: Program, plain_files: None
) -> None:
    with scope(organisation=firm.organisation):
        visit = signed(firm)
    line = items(office.get("records/"))[0]

    record = office.get(f"records/{line['id']}/").json()

    assert (line["visit"], line["verdict"]) == (str(visit.pk), "fit_now")
    assert digest(record["canonical"]) == record["digest"] == line["digest"]
    assert record["signed_by"]["name"] == firm.technician.name
    path = f"records/{line['id']}/pdf/"
    assert manager.get(f"records/{line['id']}/").json()["signed_by"] is None
    problem_of(office.get(path), 404)
    assert office.post(path).status_code == 202
    with scopes_disabled():
        assert Run.objects.count() == 1
    with scope(organisation=firm.organisation):
        for kind in ReportKind:
            file = ContentFile(f"%PDF-1.7 {kind}".encode(), name="a.pdf")
            ReportFile.objects.create(
                organisation=firm.organisation, visit=visit, kind=kind, file=file, digest="2" * 64, pages=1
            )
    for asking, kind in ((office, "visit_record"), (manager, "owners_copy")):
        pdf = asking.get(path, headers={"Accept": "application/pdf"})
        assert (pdf.status_code, pdf["Content-Type"]) == (200, "application/pdf")
        assert pdf.content == f"%PDF-1.7 {kind}".encode()
        assert pdf["Content-Disposition"].startswith("attachment")


def test_a_rental_managers_token_sees_no_names_and_no_notes_of_the_firm(firm: Firm, manager: Program) -> None:
    with scope(organisation=firm.organisation):
        visit = planned(firm, instructions="Mind the owner")
        Client.objects.update(notes="Pays late")
        Spa.objects.update(notes="Leaks")
        Visit.objects.update(retest_by=firm.technician.name)

    told = manager.get(f"visits/{visit.pk}/").json()

    assert [told[name] for name in ("technician", "instructions", "end_reason", "retest_by")] == [None] * 4
    assert items(manager.get("spas/"))[0]["notes"] is None
    problem_of(manager.get(f"visits/{visit.pk}/readings/"), 404)
    problem_of(manager.get(f"spas/{firm.hidden_spa.pk}/fitness/"), 404)
    assert [row["spa"] for row in items(manager.get("fitness/"))] == [str(firm.spa.pk)]


def test_the_guide_shows_every_operation_and_fetches_nothing_from_elsewhere(firm: Firm, sign_in: Any) -> None:
    page = sign_in(firm.rental_manager).get("/api/v1/").content.decode()

    for words in ("decide", "Idempotency-Key", "/api/v1/visits/{id}/readings/", "problem-changed", "429"):
        assert words in page
    assert "cdn" not in page
    assert 'src="http' not in page
