"""The office's pages of visits: plan, records, history, defects, closures; who sees which of them."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django_scopes import scope, scopes_disabled

from accounts.roles import Role
from service.visits.amend import amend_record
from service.visits.closures import close_spa
from service.visits.models import Amendment, Consent, Defect, Record, Visit, VisitState
from service.visits.plan import change_plan
from service.visits.urls_office import office_urls
from tests.factories import SpaFactory, VisitFactory
from tests.page_table import Page
from tests.personas import Firm
from tests.visits.working import fresh, planned, signed


@pytest.fixture(autouse=True)
def _history(firm: Firm) -> None:
    """A planned visit, a signed one and a defect at the client of the rental manager."""
    with scope(organisation=firm.organisation):
        signed(firm)
        planned(firm, instructions="Key under the blue pot.")
        found = {"organisation": firm.organisation, "spa": firm.spa, "found_by": firm.technician}
        Defect.objects.create(description="Cover torn", **found)


def _one(model: Any, **where: Any) -> Any:
    def of(firm: Firm) -> tuple[Any, ...]:
        with scopes_disabled():
            return (model.objects.get(organisation=firm.organisation, **where),)

    return of


visit = _one(Visit, state=VisitState.PLANNED)
record = _one(Record)
PAGES = [
    Page("visits:planned"),
    Page("visits:plan_new", writes=True),
    Page("visits:plan_edit", visit, writes=True),
    Page("visits:plan_cancel", visit, writes=True),
    Page("visits:plan_hand_over", visit, writes=True),
    Page("visits:records"),
    Page("visits:record", record),
    Page("visits:amend", record, writes=True),
    Page("visits:spa_history", lambda firm: (firm.spa,)),
    Page("visits:defects"),
    Page("visits:defect", _one(Defect), writes=True),
    Page("visits:closures"),
]
OF_A_ROW = [page for page in PAGES if page.of is not Page.of]
PLANNING = {"visits:plan_new", "visits:plan_edit", "visits:plan_cancel", "visits:plan_hand_over"}
HIDDEN = {
    Role.OWNER: set(),
    Role.OFFICE: set(),
    Role.TECHNICIAN: PLANNING,
    Role.RENTAL_MANAGER: PLANNING | {"visits:planned", "visits:amend"},
    Role.AUDITOR: PLANNING | {"visits:amend"},
}
every_page = pytest.mark.parametrize("page", PAGES, ids=str)
every_page_of_a_row = pytest.mark.parametrize("page", OF_A_ROW, ids=str)


def url(name: str, *keys: object) -> str:
    return reverse(f"visits:{name}", args=keys)


def test_the_table_lists_every_page_of_the_office() -> None:
    assert {page.url_name for page in PAGES} == {f"visits:{pattern.name}" for pattern in office_urls}


@pytest.mark.parametrize("role", Role)
def test_each_role_sees_exactly_its_pages(role: Role, firm: Firm, sign_in: Any) -> None:
    browser = sign_in(firm.people[role])

    answers = {page.url_name: page.ask(browser, page.url(firm)).status_code for page in PAGES}

    assert {name for name, status in answers.items() if status == 404} == HIDDEN[role]
    assert set(answers.values()) <= {200, 404}


@every_page_of_a_row
def test_a_malformed_key_is_not_found(page: Page, firm: Firm, sign_in: Any) -> None:
    assert page.ask(sign_in(firm.owner), page.url_with_last(firm, "not-a-key")).status_code == 404


@every_page_of_a_row
def test_a_stranger_gets_what_a_missing_row_gives(
    page: Page, firm: Firm, stranger: Firm, sign_in: Any
) -> None:
    browser = sign_in(stranger.owner)

    assert page.ask(browser, page.url(firm)).status_code == 404
    assert page.ask(browser, page.missing_url(firm)).status_code == 404


@every_page
def test_a_wrong_method_is_refused(page: Page, firm: Firm, sign_in: Any) -> None:
    browser, address = sign_in(firm.owner), page.url(firm)

    answers = {method: getattr(browser, method)(address).status_code for method in page.wrong_methods()}

    assert set(answers.values()) == {405}


@every_page
def test_without_signing_in_the_way_leads_to_the_sign_in(page: Page, firm: Firm) -> None:
    answer = page.ask(Browser(), page.url(firm))

    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("account_login"))


@pytest.mark.parametrize(
    "page", [page for page in PAGES if page.url_name not in HIDDEN[Role.RENTAL_MANAGER]], ids=str
)
def test_a_rental_manager_reads_no_staff_name_no_code_and_no_other_client(
    page: Page, firm: Firm, sign_in: Any
) -> None:
    with scope(organisation=firm.organisation):
        firm.site.access_code = "Gate 4711"
        firm.site.save()
        signed(firm, firm.hidden_spa)
        close_spa(spa=firm.hidden_spa, reason="Cracked shell", by=firm.technician)
        close_spa(spa=firm.spa, reason="Glass in the water", by=firm.technician)
        address = page.url(firm) if page.url_name != "visits:record" else own_record(firm)
    words = page.ask(sign_in(firm.rental_manager), address).content.decode()

    hidden = [firm.technician.name, firm.office.name, "Gate 4711", "blue pot"]
    hidden += [firm.hidden_spa.name, firm.hidden_site.name, firm.hidden_client.name, "Cracked shell"]
    assert [word for word in hidden if word in words] == []


def own_record(firm: Firm) -> str:
    return url("record", Record.objects.get(visit__spa=firm.spa).pk)


def test_a_rental_manager_does_not_find_the_rows_of_another_client(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        hidden = signed(firm, firm.hidden_spa)
        defect = Defect.objects.create(
            organisation=firm.organisation, spa=firm.hidden_spa, description="Leak", found_by=firm.technician
        )
    browser = sign_in(firm.rental_manager)
    asked = [
        url("record", hidden.record.pk),
        url("defect", defect.pk),
        url("spa_history", firm.hidden_spa.pk),
    ]

    assert [browser.get(address).status_code for address in asked] == [404, 404, 404]


def test_the_auditor_reads_who_did_the_work_and_changes_no_defect(in_firm: Firm, sign_in: Any) -> None:
    browser = sign_in(in_firm.auditor)
    defect = Defect.objects.get()

    assert in_firm.technician.name in browser.get(own_record(in_firm)).content.decode()
    answer = browser.post(url("defect", defect.pk), {"act": "settle", "settle-note": "Mended"})
    assert answer.status_code == 404


@pytest.mark.parametrize("name", ["planned", "records", "defects", "closures"])
def test_a_long_list_asks_no_more_than_a_short_one(name: str, in_firm: Firm, sign_in: Any) -> None:
    browser = sign_in(in_firm.office)
    browser.get(url(name))
    with CaptureQueriesContext(
        connection,
    ) as few:
        browser.get(url(name))
    for spa in SpaFactory.create_batch(8, site=in_firm.site):
        VisitFactory(spa=spa, technician=in_firm.technician)
        VisitFactory(spa=spa, state=VisitState.MISSED, end_reason="Snow", technician=in_firm.technician)
        close_spa(spa=spa, reason="Cloudy", by=in_firm.office)
        Defect.objects.create(
            organisation=in_firm.organisation, spa=spa, description="Leak", found_by=in_firm.office
        )
    with CaptureQueriesContext(connection) as many:
        browser.get(url(name))

    assert len(many) <= 12
    # An empty list of closures does not ask for its rows.
    assert len(many) - len(few) <= (1 if name == "closures" else 0)


def plan(**fields: Any) -> dict[str, Any]:
    day = timezone.localdate() + timedelta(days=2)
    return {
        "planned_on": day.isoformat(),
        "kind": "round",
        "window_from": "09:00",
        "window_to": "11:00",
    } | fields


def test_two_spas_of_a_site_are_planned_at_once(in_firm: Firm, sign_in: Any) -> None:
    other = SpaFactory(site=in_firm.site)
    typed = plan(spas=[in_firm.spa.pk, other.pk], technician=in_firm.technician.pk, bathers_expected="6")

    answer = sign_in(in_firm.office).post(f"{url('plan_new')}?spa={in_firm.spa.pk}", typed)

    made = Visit.objects.filter(planned_on=typed["planned_on"])
    assert answer.status_code == 302
    assert {visit.spa for visit in made} == {in_firm.spa, other}
    assert {(visit.technician, visit.bathers_expected) for visit in made} == {(in_firm.technician, 6)}


def test_a_spa_of_another_site_is_refused_and_nothing_typed_is_lost(in_firm: Firm, sign_in: Any) -> None:
    typed = plan(spas=[in_firm.hidden_spa.pk], instructions="Bring the long brush", window_to="08:00")

    answer = sign_in(in_firm.office).post(f"{url('plan_new')}?spa={in_firm.spa.pk}", typed)

    words = answer.content.decode()
    assert "Choose the spas from the list." in words
    assert "Bring the long brush" in words
    assert not Visit.objects.filter(planned_on=typed["planned_on"]).exists()


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"window_to": "08:00"}, "The latest time must be after the earliest."),
        ({"window_from": "quarter past"}, "must be a time, such as 14:30"),
        ({"bathers_expected": "501"}, "Bathers expected must be from 0 to 500 people."),
        ({"planned_on": "2031-01-01"}, "The day must be from"),
        ({"planned_on": "soon"}, "Day must be a day, such as"),
    ],
)
def test_a_plan_that_cannot_be_is_told_at_its_field(
    wrong: dict[str, str], said: str, in_firm: Firm, sign_in: Any
) -> None:
    typed = plan(spas=[in_firm.spa.pk], instructions="Bring the long brush", **wrong)

    words = sign_in(in_firm.office).post(f"{url('plan_new')}?spa={in_firm.spa.pk}", typed).content.decode()

    assert said in words
    assert "Bring the long brush" in words


def test_the_second_of_two_people_is_shown_what_changed(in_firm: Firm, sign_in: Any) -> None:
    row = Visit.objects.get(state=VisitState.PLANNED)
    typed = plan(instructions="Mine", revision=str(row.revision))
    change_plan(visit=row, by=in_firm.owner, expected_revision=row.revision, bathers_expected=9)
    browser, address = sign_in(in_firm.office), url("plan_edit", row.pk)

    words = browser.post(address, typed).content.decode()

    assert f"{in_firm.owner.name} changed the plan" in words
    assert "Bathers expected: 9" in words
    assert "Mine" in words
    assert fresh(row).instructions != "Mine"
    typed["revision"] = str(fresh(row).revision)
    assert browser.post(address, typed).status_code == 302
    assert fresh(row).instructions == "Mine"


def test_a_field_error_does_not_hide_what_a_colleague_changed(in_firm: Firm, sign_in: Any) -> None:
    row = Visit.objects.get(state=VisitState.PLANNED)
    change_plan(visit=row, by=in_firm.owner, expected_revision=row.revision, bathers_expected=9)

    answer = sign_in(in_firm.office).post(
        url("plan_edit", row.pk), plan(planned_on="soon", revision=str(row.revision))
    )

    assert answer.context["revision"] == row.revision


def test_a_visit_is_cancelled_with_a_reason_only(in_firm: Firm, sign_in: Any) -> None:
    row, browser = Visit.objects.get(state=VisitState.PLANNED), sign_in(in_firm.office)
    address, seen = url("plan_cancel", row.pk), {"revision": str(row.revision)}

    assert "Say why in a few words." in browser.post(address, {"reason": " ", **seen}).content.decode()
    assert browser.post(address, {"reason": "Guests left early", **seen}).status_code == 302
    assert fresh(row).state == VisitState.CANCELLED


def test_a_visit_is_handed_to_somebody_else(in_firm: Firm, sign_in: Any) -> None:
    row = Visit.objects.get(state=VisitState.PLANNED)
    typed = {"to": in_firm.owner.pk, "reason": "Ill", "revision": str(row.revision)}

    sign_in(in_firm.office).post(url("plan_hand_over", row.pk), typed)

    assert fresh(row).state == VisitState.HANDED_OVER
    assert Visit.objects.get(state=VisitState.PLANNED).technician == in_firm.owner


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({}, {"signed", "missed"}),
        ({"state": "signed"}, {"signed"}),
        ({"state": "unsigned"}, {"missed"}),
        ({"state": "amended"}, set()),
        ({"verdict": "fit_now"}, {"signed"}),
        ({"verdict": "closed_until_retest"}, set()),
        ({"verdict": "fit_now", "state": "unsigned"}, set()),
        ({"q": "no such words"}, set()),
        ({"end": "2020-01-01"}, set()),
        ({"start": "2020-01-01"}, {"signed", "missed"}),
        ({"start": "2099-01-01"}, set()),
    ],
)
def test_records_are_found_by_how_they_ended(
    asked: dict[str, str], found: set[str], in_firm: Firm, sign_in: Any
) -> None:
    VisitFactory(spa=in_firm.spa, state=VisitState.MISSED, end_reason="Snow")

    page = sign_in(in_firm.office).get(url("records"), asked).context["listing"].page

    assert {visit.state for visit in page} == found


def test_an_amendment_stands_beside_what_it_corrects(in_firm: Firm, sign_in: Any) -> None:
    row, browser = Record.objects.get(), sign_in(in_firm.office)
    typed = {"corrects": "pH before dosing", "was": "7.4", "becomes": "7.6", "reason": ""}

    told = browser.post(url("amend", row.pk), typed).content.decode()
    browser.post(url("amend", row.pk), typed | {"reason": "Read the wrong row"})

    assert "pH before dosing" in told
    assert Amendment.objects.get().becomes == "7.6"
    words = browser.get(url("record", row.pk)).content.decode()
    assert "<del>7.4</del>" in words
    assert "<ins>7.6</ins>" in words


def test_an_amended_record_is_listed_once(in_firm: Firm, sign_in: Any) -> None:
    row = Record.objects.get()
    for figure in ("7.5", "7.6"):
        amend_record(record=row, corrects="pH", was="7.4", becomes=figure, reason="Typo", by=in_firm.office)

    page = sign_in(in_firm.office).get(url("records"), {"state": "amended"}).context["listing"].page

    assert [(visit.record, len(visit.record.amendments.all())) for visit in page] == [(row, 2)]


def test_a_record_shows_readings_against_the_guideline_it_was_signed_by(in_firm: Firm, sign_in: Any) -> None:
    words = sign_in(in_firm.rental_manager).get(own_record(in_firm)).content.decode()

    # 25-C DCMR 404.2: pH 7.2 to 7.8.
    assert "pH 7.4, within 7.2 to 7.8" in words
    assert Record.objects.get().digest[:32] in words


def test_a_defect_takes_the_owners_answer_and_is_settled(in_firm: Firm, sign_in: Any) -> None:
    row, browser = Defect.objects.get(), sign_in(in_firm.office)
    address = url("defect", row.pk)

    browser.post(address, {"act": "consent", "consent-consent": "given", "consent-who_pays": "owner"})
    told = browser.post(address, {"act": "settle", "settle-note": ""}).content.decode()
    browser.post(address, {"act": "settle", "settle-note": "New cover"})

    row.refresh_from_db()
    assert "Say how it was settled." in told
    assert (row.consent, row.closing_note) == (Consent.GIVEN, "New cover")


def test_a_closed_spa_is_listed_with_the_way_to_reopen_it(in_firm: Firm, sign_in: Any) -> None:
    close_spa(spa=in_firm.spa, reason="Glass in the water", by=in_firm.office)

    words = sign_in(in_firm.office).get(url("closures")).content.decode()

    assert "Glass in the water" in words
    assert "Nobody opens a spa by hand." in words
