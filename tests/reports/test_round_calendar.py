"""A technician's rounds as a calendar (RFC 5545): what it says, to whom, and how it is taken away."""

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.test import Client as Browser
from django.urls import reverse
from django_scopes import scope
from icalendar import Calendar

from service.rounds.calendar_link import make_calendar_link, revoke_calendar_link
from service.rounds.models import PlanState, RoundCalendarLink, WeekPlan
from service.visits.models import Visit
from service.visits.plan import cancel_visit, change_plan
from tests.factories import SpaFactory, VisitFactory
from tests.personas import Firm
from tests.rounds.planned import planned_round

NOW = datetime(2026, 6, 3, 7, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _clock() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def visit(in_firm: Firm) -> Visit:
    in_firm.site.address = "3 Mill Lane\nAlderbrook"
    in_firm.site.save()
    item = planned_round(in_firm.technician, in_firm.spa, at=NOW)
    made = VisitFactory(spa=in_firm.spa, technician=in_firm.technician, planned_on=item.day)
    item.stops.update(visit=made)
    return made


def address(firm: Firm) -> str:
    with scope(organisation=firm.organisation):
        link, secret = make_calendar_link(by=firm.technician)
    return reverse("reports:calendar", args=[link.pk, secret])


def events(url: str) -> list[Any]:
    answer = Browser().get(url)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    return list(Calendar.from_ical(answer.content).walk("VEVENT"))


def test_the_rounds_are_read_with_times_place_and_zone(visit: Visit, in_firm: Firm) -> None:
    url = address(in_firm)

    (event,) = events(url)

    london = ZoneInfo("Europe/London")
    assert event["summary"] == f"{in_firm.site.name}: {in_firm.spa.name}"
    assert event["location"] == "3 Mill Lane, Alderbrook"
    assert event.decoded("dtstart") == datetime(2026, 6, 3, 8, 30, tzinfo=london)
    assert event.decoded("dtend") == datetime(2026, 6, 3, 9, 10, tzinfo=london)
    # RFC 5545, 3.6.5: each TZID that is named is defined in the same calendar.
    zones = Calendar.from_ical(Browser().get(url).content).walk("VTIMEZONE")
    assert [str(zone["tzid"]) for zone in zones] == ["Europe/London"]


def test_a_changed_visit_keeps_its_name_and_counts_on(visit: Visit, in_firm: Firm) -> None:
    # RFC 5545, 3.8.4.7 (UID is persistent) and 3.8.7.4 (SEQUENCE rises with each change).
    url = address(in_firm)
    (before,) = events(url)

    change_plan(
        visit=visit, by=in_firm.office, expected_revision=0, planned_on=visit.planned_on + timedelta(1)
    )
    (moved,) = events(url)
    cancel_visit(visit=visit, reason="Sold", by=in_firm.office)
    (gone,) = events(url)

    assert before["uid"] == moved["uid"] == gone["uid"]
    assert before["sequence"] < moved["sequence"] < gone["sequence"]
    assert (before["status"], gone["status"]) == ("CONFIRMED", "CANCELLED")


def test_no_code_no_owner_and_nobody_elses_visits(visit: Visit, in_firm: Firm, stranger: Firm) -> None:
    in_firm.client.name, in_firm.client.contact_name = "Ownername", "Contactname"
    in_firm.client.save()
    VisitFactory(spa=in_firm.spa, technician=in_firm.office, planned_on=visit.planned_on)
    with scope(organisation=stranger.organisation):
        spa = SpaFactory(site=stranger.site, name="Strangertub")
        VisitFactory(spa=spa, technician=stranger.technician, planned_on=visit.planned_on)

    content = Browser().get(address(in_firm)).content.decode()

    assert content.count("BEGIN:VEVENT") == 1
    for word in ("4711", "Side gate", "Ownername", "Contactname", "Strangertub", in_firm.technician.name):
        assert word not in content


def test_a_wrong_secret_an_ended_link_and_a_link_that_never_was_answer_alike(
    visit: Visit, in_firm: Firm
) -> None:
    first = address(in_firm)
    second = address(in_firm)
    link = RoundCalendarLink.objects.get(revoked_at=None)
    wrong = reverse("reports:calendar", args=[link.pk, "x" * 43])
    never = reverse("reports:calendar", args=[uuid4(), "x" * 43])

    assert [Browser().get(url).status_code for url in (first, second, wrong, never)] == [404, 200, 404, 404]
    revoke_calendar_link(by=in_firm.technician)
    assert Browser().get(second).status_code == 404


def test_who_has_left_has_no_calendar(visit: Visit, in_firm: Firm) -> None:
    url = address(in_firm)
    in_firm.technician.is_active = False
    in_firm.technician.save()

    assert Browser().get(url).status_code == 404


def test_only_the_digest_of_the_secret_is_kept(visit: Visit, in_firm: Firm) -> None:
    secret = address(in_firm).rsplit("/", 1)[1].removesuffix(".ics")

    assert secret not in str(list(RoundCalendarLink.objects.values()))


def test_a_technician_makes_and_ends_their_link_on_a_page(visit: Visit, in_firm: Firm, sign_in: Any) -> None:
    browser = sign_in(in_firm.technician)

    made = browser.post(reverse("reports:my_calendar_make")).content.decode()
    again = browser.get(reverse("reports:my_calendar")).content.decode()
    browser.post(reverse("reports:my_calendar_revoke"))
    after = browser.get(reverse("reports:my_calendar")).content.decode()

    assert ".ics" in made
    assert ".ics" not in again
    assert "You have no link yet." in after


def test_the_page_of_ones_rounds_offers_the_sheets_of_the_published_ones_to_come(
    in_firm: Firm, sign_in: Any
) -> None:
    item = planned_round(in_firm.technician, in_firm.spa)
    url, sheet = reverse("reports:my_calendar"), reverse("reports:round_sheet", args=[item.pk])
    browser = sign_in(in_firm.technician)

    assert url in browser.get(reverse("visits:today")).content.decode()
    assert sheet in browser.get(url).content.decode()
    assert sheet not in sign_in(in_firm.owner).get(url).content.decode()
    WeekPlan.objects.update(state=PlanState.DRAFT)
    assert sheet not in browser.get(url).content.decode()
