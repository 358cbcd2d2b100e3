"""Many agreements changed at once: a summary first, each by its use case, planned visits left alone."""

from datetime import date, time, timedelta
from typing import Any

import pytest
from django.utils import timezone
from django_scopes import scope

from accounts.models import AuditEvent
from service.rounds.models import Agreement, Frequency
from service.visits.models import Visit
from tests.factories import AgreementFactory, VisitFactory
from tests.office.test_bulk import address, do
from tests.personas import Firm

FIRST = date(2026, 1, 5)


@pytest.fixture
def agreements(firm: Firm) -> list[Agreement]:
    """Once a week at one spa, at every changeover at another."""
    with scope(organisation=firm.organisation):
        return [
            AgreementFactory(spa=firm.spa, starts_on=FIRST),
            AgreementFactory(spa=firm.hidden_spa, frequency=Frequency.CHANGEOVER, starts_on=FIRST),
        ]


@pytest.fixture
def office(firm: Firm, sign_in: Any) -> Any:
    return sign_in(firm.office)


def stands(firm: Firm, name: str) -> list[Any]:
    with scope(organisation=firm.organisation):
        return list(Agreement.objects.order_by("spa__name", "pk").values_list(name, flat=True))


@pytest.mark.parametrize(
    ("change", "value", "name", "becomes", "was", "to"),
    [
        ("minutes", "45", "minutes_on_site", 45, "30 minutes", "45 minutes"),
        ("window_from", "08:30", "window_from", time(8, 30), "any time", "08:30"),
        ("window_to", "12.15", "window_to", time(12, 15), "any time", "12:15"),
        ("weekdays", ["0", "3"], "weekdays_allowed", 9, "Monday to Friday", "Monday and Thursday"),
        ("avoid_public_holidays", "no", "avoid_public_holidays", False, "Yes", "No"),
        ("while_guests_stay", "yes", "while_guests_stay", True, "No", "Yes"),
        ("end", "2027-06-30", "ends_on", date(2027, 6, 30), "no last day", "Wednesday 30 June 2027"),
    ],
)
def test_a_summary_says_from_what_to_what_and_then_all_are_changed(
    firm: Firm,
    office: Any,
    agreements: list[Agreement],
    change: str,
    value: Any,
    name: str,
    becomes: Any,
    was: str,
    to: str,
) -> None:
    url = address("agreements", change, *agreements)
    before = stands(firm, name)

    answer = office.post(url, {"value": value})

    assert "Agreements: 2 of 2 would change" in answer.content.decode()
    assert answer.context["outcome"].changed == [(was, 2)]
    assert answer.context["outcome"].to == to
    assert stands(firm, name) == before

    office.post(url, {"value": answer.context["values"], "step": "do"})

    assert stands(firm, name) == [becomes, becomes]
    with scope(organisation=firm.organisation):
        event = AuditEvent.objects.get(action="firm.rows_changed")
        assert event.detail["rows"] == 2


def test_the_preferred_technician_is_changed_and_taken_away(
    firm: Firm, office: Any, agreements: list[Agreement]
) -> None:
    url = address("agreements", "preferred", *agreements)

    do(office, url, str(firm.technician.pk))
    assert stands(firm, "preferred") == [firm.technician.pk] * 2
    do(office, url, "")
    assert stands(firm, "preferred") == [None, None]


def test_what_has_no_visits_a_week_or_cannot_end_so_early_is_skipped_with_its_reason(
    firm: Firm, office: Any, agreements: list[Agreement]
) -> None:
    url = address("agreements", "times", *agreements)
    page = office.post(url, {"value": "3"}).content.decode()
    assert "Agreements: 1 of 2 would change" in page
    assert "It is visited at every changeover, not so many times a week." in page
    assert str(firm.hidden_spa) in page

    do(office, url, "3")
    assert sorted(stands(firm, "times_a_week"), key=bool) == [None, 3]

    early = office.post(address("agreements", "end", *agreements), {"value": "2025-12-31"})
    assert early.content.decode().count("It cannot end before its first day, Monday 5 January 2026.") == 2


def test_all_that_the_list_found_are_changed_and_no_others(
    firm: Firm, office: Any, agreements: list[Agreement]
) -> None:
    with scope(organisation=firm.organisation):
        ended = AgreementFactory(spa=firm.spa, starts_on=FIRST, ends_on=FIRST + timedelta(7))

    do(office, address("agreements", "minutes", all="1", frequency="times_a_week"), "50")

    with scope(organisation=firm.organisation):
        assert Agreement.objects.get(minutes_on_site=50) == agreements[0]
        ended.refresh_from_db()
        assert ended.minutes_on_site == 30


def test_a_visit_that_is_planned_stays_as_it_is(firm: Firm, office: Any, agreements: list[Agreement]) -> None:
    with scope(organisation=firm.organisation):
        VisitFactory(spa=firm.spa, planned_on=timezone.localdate() + timedelta(1))
        before = list(Visit.objects.values())

    do(office, address("agreements", "minutes", *agreements), "50")

    with scope(organisation=firm.organisation):
        assert list(Visit.objects.values()) == before


def test_another_firms_agreements_are_left_alone(firm: Firm, stranger: Firm, office: Any) -> None:
    with scope(organisation=stranger.organisation):
        theirs = AgreementFactory(spa=stranger.spa)

    do(office, address("agreements", "minutes", theirs), "50")

    assert stands(stranger, "minutes_on_site") == [30]


def test_the_list_has_a_box_for_each_row_for_those_who_plan(
    firm: Firm, sign_in: Any, agreements: list[Agreement]
) -> None:
    office = sign_in(firm.office).get("/rounds/agreements/").content.decode()
    technician = sign_in(firm.technician).get("/rounds/agreements/").content.decode()

    assert office.count('name="row"') == 2
    assert f"Choose the agreement for {firm.spa}" in office
    assert "Change all 2 found" in office
    assert 'name="row"' not in technician


@pytest.mark.parametrize(
    ("change", "value"), [("minutes", "4"), ("times", "8"), ("weekdays", ""), ("end", "x")]
)
def test_a_value_that_cannot_be_is_told_at_its_field(
    office: Any, agreements: list[Agreement], change: str, value: str
) -> None:
    page = office.post(address("agreements", change, *agreements), {"value": value} if value else {})

    assert page.context["form"].errors["value"]
