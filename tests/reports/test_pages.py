"""Downloads, notices and the rental manager's pages: each person what is theirs, nothing else."""

import hashlib
from datetime import timedelta
from io import BytesIO
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.urls import reverse
from django_scopes import scope, scopes_disabled
from pypdf import PdfReader
from pytest_django.fixtures import DjangoAssertNumQueries

from accounts.models import AuditEvent
from accounts.roles import Role
from reports.models import ReportFile
from reports.tasks import build_visit_record
from service.runs.ask import ask_run
from service.runs.models import Run, RunState
from service.runs.work import do_run
from service.visits.models import Closure, Consent, Defect, Record, Severity, Verdict
from service.visits.report_runs import ask_for_record_pdf
from tests.factories import SiteFactory, SpaFactory, VisitFactory
from tests.personas import Firm
from tests.reports.signed_visits import GOOD, SIGNED, signed_visit

NOW = SIGNED + timedelta(hours=1)
HTMX = {"HX-Request": "true"}


@pytest.fixture(autouse=True)
def _clock() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def record(named: Firm) -> Record:
    return signed_visit(named)


@pytest.fixture
def hidden(named: Firm) -> Record:
    """A record of the same firm, at a client who is not the rental manager's."""
    named.hidden_spa.name = "Roof tub"
    named.hidden_spa.save()
    return signed_visit(named, named.hidden_spa)


@pytest.fixture
def foreign(stranger: Firm) -> Record:
    with scope(organisation=stranger.organisation):
        return signed_visit(stranger)


def build(record: Record) -> None:
    do_run(ask_for_record_pdf(record.visit, by=record.signed_by).pk, build_visit_record)


def waiting_repair(firm: Firm, spa: Any = None, **fields: Any) -> Defect:
    fields = {"consent": Consent.WAITING, "severity": Severity.SOON, "description": "Torn strap", **fields}
    return Defect.objects.create(
        organisation=firm.organisation, spa=spa or firm.spa, found_by=firm.technician, **fields
    )


def closed(firm: Firm, spa: Any = None, **fields: Any) -> Closure:
    return Closure.objects.create(
        organisation=firm.organisation,
        spa=spa or firm.spa,
        reason="Free chlorine reads 0.4 mg/L, below 3.",
        closed_at=SIGNED,
        renewed_at=SIGNED,
        closed_by=firm.technician,
        **fields,
    )


def counted() -> tuple[int, ...]:
    with scopes_disabled():
        return tuple(
            model.objects.count() for model in (Run, ReportFile, AuditEvent, Record, Defect, Closure)
        )


# --- downloads ------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", list(Role))
def test_everybody_who_may_gets_the_file_as_a_file(
    named: Firm, record: Record, sign_in: Any, role: Role
) -> None:
    build(record)

    answer = sign_in(named.people[role]).get(reverse("reports:download", args=[record.pk]))

    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == (
        'attachment; filename="visit-record-garden-tub-wed-3-jun-2026.pdf"'
    )
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "no-store" in answer["Cache-Control"]
    assert answer.content.startswith(b"%PDF-")


def test_the_client_gets_the_copy_without_the_names_of_staff(
    named: Firm, record: Record, sign_in: Any
) -> None:
    build(record)
    url = reverse("reports:download", args=[record.pk])
    digests = dict(ReportFile.objects.values_list("digest", "kind"))
    kinds = {}
    for role in Role:
        content = sign_in(named.people[role]).get(url).content
        kinds[role] = digests[hashlib.sha256(content).hexdigest()]

    assert kinds == {role: "owners_copy" if role == Role.RENTAL_MANAGER else "visit_record" for role in Role}


@pytest.mark.parametrize("name", ["download", "make"])
def test_records_of_others_do_not_exist(
    named: Firm, hidden: Record, foreign: Record, sign_in: Any, name: str
) -> None:
    before = counted()
    for person, record in [
        (named.rental_manager, hidden),
        (named.rental_manager, foreign),
        (named.owner, foreign),
    ]:
        url = reverse(f"reports:{name}", args=[record.pk])
        browser = sign_in(person)
        assert (browser.post if name == "make" else browser.get)(url).status_code == 404
    assert sign_in(named.owner).get(reverse("reports:download", args=[uuid4()])).status_code == 404
    assert counted() == before


def test_looking_for_a_pdf_that_is_not_there_changes_nothing(
    named: Firm, record: Record, sign_in: Any
) -> None:
    before = counted()

    page = sign_in(named.rental_manager).get(reverse("reports:download", args=[record.pk]))

    assert page.status_code == 200
    assert "Make the PDF" in page.text
    assert counted() == before


def test_a_missing_pdf_is_made_on_asking_once_and_then_handed_out(
    named: Firm, record: Record, sign_in: Any
) -> None:
    browser = sign_in(named.rental_manager)
    url = reverse("reports:download", args=[record.pk])
    make = reverse("reports:make", args=[record.pk])

    assert browser.post(make).url == url
    browser.post(make)
    run = Run.objects.get()
    assert "Waiting" in browser.get(url, headers=HTMX).text
    do_run(run.pk, build_visit_record)

    fragment = browser.get(url, headers=HTMX)
    assert "The PDF is ready." in fragment.text
    assert "hx-trigger" not in fragment.text
    assert "<html" not in fragment.text
    assert browser.get(url)["Content-Type"] == "application/pdf"


def test_a_pdf_that_could_not_be_made_says_why_and_can_be_asked_for_again(
    named: Firm, record: Record, sign_in: Any
) -> None:
    run = ask_for_record_pdf(record.visit, by=named.technician)
    Run.objects.filter(pk=run.pk).update(state=RunState.FAILED, error="The disk was full.")
    browser = sign_in(named.office)

    page = browser.get(reverse("reports:download", args=[record.pk]))
    browser.post(reverse("reports:make", args=[record.pk]))

    assert "The disk was full." in page.text
    assert Run.objects.filter(state=RunState.QUEUED).count() == 1


def test_an_edition_that_was_never_made_does_not_exist(named: Firm, record: Record, sign_in: Any) -> None:
    build(record)
    browser = sign_in(named.office)

    assert [
        browser.get(reverse("reports:edition", args=[record.pk, number])).status_code for number in (0, 1, 2)
    ] == [404, 200, 404]


# --- notice ---------------------------------------------------------------------------------------


def test_the_notice_says_closed_why_since_when_and_whom_to_call(named: Firm, sign_in: Any) -> None:
    named.organisation.phone = "01632 960100"
    named.organisation.save()
    closure = closed(named)

    page = sign_in(named.technician).get(reverse("reports:notice", args=[closure.pk]))

    for phrase in ("Closed", "Do not use", "below 3.", "Wed 3 Jun 2026, 10:40", "01632 960100", "Garden tub"):
        assert phrase in page.text
    assert named.technician.name not in page.text


def test_the_notice_is_one_page_of_the_firms_paper_without_names(named: Firm, sign_in: Any) -> None:
    named.organisation.us_units = True
    named.organisation.save()
    closure = closed(named)

    answer = sign_in(named.rental_manager).get(reverse("reports:notice_file", args=[closure.pk]))
    pdf = PdfReader(BytesIO(answer.content))

    assert answer["Content-Disposition"].startswith("attachment")
    assert [float(side) for side in pdf.pages[0].mediabox[2:]] == [612, 792]
    assert len(pdf.pages) == 1
    text = pdf.pages[0].extract_text()
    assert "■ Closed" in text
    assert "Do not use" in text
    assert named.technician.name not in text


def test_the_longest_notice_is_still_one_page(named: Firm, sign_in: Any) -> None:
    closure = closed(named)
    Closure.objects.filter(pk=closure.pk).update(reason=("The water is not clear. " * 26)[:600])
    named.spa.name = "Tub " * 30
    named.spa.save()

    answer = sign_in(named.owner).get(reverse("reports:notice_file", args=[closure.pk]))

    assert len(PdfReader(BytesIO(answer.content)).pages) == 1


def test_a_closure_that_has_ended_has_no_notice_to_put_up(named: Firm, record: Record, sign_in: Any) -> None:
    closure = closed(named, reopened_at=NOW, reopened_by=named.technician, reopened_visit=record.visit)
    browser = sign_in(named.office)

    page = browser.get(reverse("reports:notice", args=[closure.pk]))

    assert "This closure has ended" in page.text
    assert "Do not use" not in page.text
    assert browser.get(reverse("reports:notice_file", args=[closure.pk])).status_code == 404


def test_notices_of_others_do_not_exist(named: Firm, stranger: Firm, sign_in: Any) -> None:
    hidden = closed(named, named.hidden_spa)
    for name in ("notice", "notice_file"):
        url = reverse(f"reports:{name}", args=[hidden.pk])
        assert sign_in(named.rental_manager).get(url).status_code == 404
        assert sign_in(stranger.owner).get(url).status_code == 404
        assert sign_in(named.auditor).get(url).status_code == 200


# --- rental manager -------------------------------------------------------------------------------


def test_a_manager_sees_own_tubs_and_nothing_of_anybody_else(
    named: Firm, record: Record, hidden: Record, foreign: Record, sign_in: Any
) -> None:
    page = sign_in(named.rental_manager).get(reverse("reports:my_tubs"))

    assert [tub.spa for tub in page.context["tubs"]] == [named.spa]
    assert "Garden tub" in page.text
    for secret in ("Roof tub", named.technician.name, named.site.access_code, named.site.access_notes):
        assert secret not in page.text


def test_each_line_says_how_it_stands_what_comes_next_and_what_waits(
    named: Firm, record: Record, sign_in: Any
) -> None:
    VisitFactory(spa=named.spa, planned_on=NOW.date() + timedelta(days=2), technician=named.technician)
    VisitFactory(spa=named.spa, planned_on=NOW.date(), changeover=True, state="cancelled", end_reason="Moved")
    waiting_repair(named)

    text = sign_in(named.rental_manager).get(reverse("reports:my_tubs")).text

    assert "Fit for use" in text
    assert "Fit since 10:10, next test due 4 Jun 10:40." in text
    assert "Next visit Fri 5 Jun 2026" in text
    assert "Guests change today." not in text
    assert "Torn strap" in text


def test_a_changeover_today_is_named(named: Firm, record: Record, sign_in: Any) -> None:
    VisitFactory(spa=named.spa, planned_on=NOW.date(), changeover=True)

    assert "Guests change today." in sign_in(named.rental_manager).get(reverse("reports:my_tubs")).text


@pytest.mark.parametrize("role", [role for role in Role if role != Role.RENTAL_MANAGER])
def test_the_managers_pages_do_not_exist_for_people_of_the_firm(
    named: Firm, record: Record, sign_in: Any, role: Role
) -> None:
    browser = sign_in(named.people[role])

    assert browser.get(reverse("reports:my_tubs")).status_code == 404
    assert browser.get(reverse("reports:my_tub", args=[named.spa.pk])).status_code == 404


def test_one_tub_tells_what_was_done_last_and_why_without_staff(named: Firm, sign_in: Any) -> None:
    signed_visit(
        named,
        before={**GOOD, "ph": "7.9"},
        after=GOOD,
        doses=[
            {
                "product": "Acid salt",
                "substance": "sodium_bisulfate",
                "planned": "42",
                "actual": "40",
                "purpose": "lower pH",
            }
        ],
        tasks=[{"kind": "filter_rinse", "why": "Every 7 days"}],
        note_to_owner="Please keep the cover shut.",
    )

    page = sign_in(named.rental_manager).get(reverse("reports:my_tub", args=[named.spa.pk]))

    assert page.context["last"].done == [
        "Added 40 g Acid salt, to lower pH.",
        "Rinse the filter: Every 7 days.",
    ]
    assert "Please keep the cover shut." in page.text
    assert "<svg" in page.text
    assert "pH over time: 2 readings from 7.4 to 7.9" in page.text
    for secret in (named.technician.name, named.site.access_code, named.site.access_notes):
        assert secret not in page.text


def test_a_closed_tub_offers_its_notice(named: Firm, sign_in: Any) -> None:
    signed_visit(named, verdict=Verdict.CLOSED_UNTIL_RETEST, closure="Free chlorine reads 0.4 mg/L.")

    page = sign_in(named.rental_manager).get(reverse("reports:my_tub", args=[named.spa.pk]))

    assert reverse("reports:notice", args=[Closure.objects.get().pk]) in page.text
    assert "Closed" in page.text


def test_tubs_of_others_and_archived_ones_do_not_exist(named: Firm, stranger: Firm, sign_in: Any) -> None:
    browser = sign_in(named.rental_manager)
    gone = SpaFactory(site=named.site, archived_at=NOW)
    for spa in (named.hidden_spa, stranger.spa, gone):
        assert browser.get(reverse("reports:my_tub", args=[spa.pk])).status_code == 404


@pytest.mark.parametrize(("answer", "kept"), [("given", Consent.GIVEN), ("refused", Consent.REFUSED)])
def test_a_manager_answers_a_repair_once(named: Firm, sign_in: Any, answer: str, kept: str) -> None:
    defect = waiting_repair(named)
    browser, url = sign_in(named.rental_manager), reverse("reports:answer", args=[defect.pk])

    page = browser.post(url, {"consent": answer}, follow=True)
    again = browser.post(url, {"consent": "given" if answer == "refused" else "refused"}, follow=True)

    defect.refresh_from_db()
    assert defect.consent == kept
    assert "recorded: Torn strap" in page.text
    assert "answered already" in again.text
    event = AuditEvent.objects.get(action="defect.consent_recorded")
    assert (event.actor_id, event.detail) == (named.rental_manager.pk, {"consent": kept})


def test_an_answer_that_is_neither_yes_nor_no_changes_nothing(named: Firm, sign_in: Any) -> None:
    defect = waiting_repair(named)

    page = sign_in(named.rental_manager).post(
        reverse("reports:answer", args=[defect.pk]), {"consent": "not_needed"}, follow=True
    )

    defect.refresh_from_db()
    assert defect.consent == Consent.WAITING
    assert "Answer yes or no." in page.text


def test_repairs_at_other_clients_cannot_be_answered(named: Firm, stranger: Firm, sign_in: Any) -> None:
    hidden = waiting_repair(named, named.hidden_spa)
    url = reverse("reports:answer", args=[hidden.pk])
    for person in (named.rental_manager, stranger.rental_manager, named.technician, named.owner):
        assert sign_in(person).post(url, {"consent": "given"}).status_code == 404

    hidden.refresh_from_db()
    assert hidden.consent == Consent.WAITING


def test_the_list_takes_as_many_queries_for_many_tubs_as_for_one(
    named: Firm, sign_in: Any, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for _ in range(10):
        spa = SpaFactory(site=SiteFactory(client=named.client))
        signed_visit(named, spa)
        waiting_repair(named, spa)
    browser = sign_in(named.rental_manager)

    with django_assert_max_num_queries(12):
        browser.get(reverse("reports:my_tubs"))


def test_one_tub_takes_as_many_queries_for_a_long_history_as_for_a_short_one(
    named: Firm, sign_in: Any, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    """Session, person, firm, roles; the spa; four for its fitness; next visits, repairs, records, closures,
    readings."""
    for week in range(15):
        signed_visit(named, at=SIGNED - timedelta(weeks=week))
        waiting_repair(named)
    browser = sign_in(named.rental_manager)

    with django_assert_max_num_queries(12):
        browser.get(reverse("reports:my_tub", args=[named.spa.pk]))


# --- runs -----------------------------------------------------------------------------------------


@pytest.fixture
def run(named: Firm) -> Run:
    return ask_run(
        task="service.runs.sweep",
        arguments={},
        title="A long piece of work",
        by=named.technician,
        organisation=named.organisation,
    )


def test_a_run_is_seen_by_who_asked_and_the_office_only(
    named: Firm, stranger: Firm, run: Run, sign_in: Any
) -> None:
    url = reverse("runs:run", args=[run.pk])
    seen = {role: sign_in(named.people[role]).get(url).status_code for role in Role}

    assert seen == {
        Role.OWNER: 200,
        Role.OFFICE: 200,
        Role.TECHNICIAN: 200,
        Role.RENTAL_MANAGER: 404,
        Role.AUDITOR: 404,
    }
    assert sign_in(stranger.owner).get(url).status_code == 404


def test_the_part_that_changes_asks_again_until_the_run_has_ended(
    named: Firm, run: Run, sign_in: Any
) -> None:
    browser, url = sign_in(named.technician), reverse("runs:run", args=[run.pk])
    live = browser.get(url, headers=HTMX).text
    Run.objects.filter(pk=run.pk).update(state=RunState.DONE, finished_at=NOW)

    assert "hx-trigger" in live
    assert "<html" not in live
    assert "hx-trigger" not in browser.get(url, headers=HTMX).text


def test_a_run_is_stopped_from_its_page_by_those_who_see_it(named: Firm, run: Run, sign_in: Any) -> None:
    url = reverse("runs:cancel", args=[run.pk])

    assert sign_in(named.rental_manager).post(url).status_code == 404
    assert sign_in(named.technician).get(url).status_code == 405
    assert Run.objects.get().state == RunState.QUEUED
    page = sign_in(named.technician).post(url, follow=True)
    assert "Stopped" in page.text
    assert Run.objects.get().state == RunState.CANCELLED
