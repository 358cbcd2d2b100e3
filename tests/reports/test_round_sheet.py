"""The round on paper: stops in order with times and what is due, no access codes; office and driver only."""

from datetime import UTC, datetime
from io import BytesIO
from typing import Any

import pytest
import time_machine
from django.urls import reverse
from pypdf import PdfReader

from service.rounds.models import PlannedRound, PlanState, WeekPlan
from tests.factories import PersonFactory
from tests.personas import Firm
from tests.rounds.planned import planned_round

NOW = datetime(2026, 6, 3, 7, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _clock() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def item(in_firm: Firm) -> PlannedRound:
    in_firm.site.access_notes = "Side gate, code 4711, dog in the yard"
    in_firm.site.parking = "On the gravel"
    in_firm.site.save()
    honesty = {
        "travel_honesty": "OpenStreetMap roads, 3 August 2013",
        "travel_attribution": "© OpenStreetMap",
    }
    return planned_round(in_firm.technician, in_firm.spa, at=NOW, **honesty)


def text_of(answer: Any) -> str:
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    pages = PdfReader(BytesIO(answer.content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_the_sheet_says_when_where_and_what_is_due_without_codes(
    item: PlannedRound, in_firm: Firm, sign_in: Any
) -> None:
    said = text_of(sign_in(in_firm.technician).get(reverse("reports:round_sheet", args=[item.pk])))

    for words in (
        "1. 08:30",
        "until 09:10",
        "30 min, 20.4 km drive",
        "1 stop, 1 spa",
        in_firm.site.name,
        in_firm.spa.name,
        "Side gate, code (code: in the app), dog in the yard",
        "Parking: On the gravel",
        "Twice a week",
        "Driving times: OpenStreetMap roads, 3 August 2013.",
        "© OpenStreetMap",
        "Page 1 of 1",
    ):
        assert words in said
    assert "4711" not in said


def test_the_office_prints_any_round_and_a_technician_their_own_published_one(
    item: PlannedRound, in_firm: Firm, stranger: Firm, sign_in: Any
) -> None:
    url = reverse("reports:round_sheet", args=[item.pk])
    colleague = PersonFactory(organisation=in_firm.organisation, roles=["technician"])

    def status(person: Any) -> int:
        return int(sign_in(person).get(url).status_code)

    assert status(in_firm.office) == status(in_firm.technician) == 200
    for person in (colleague, in_firm.auditor, in_firm.rental_manager, stranger.office, stranger.technician):
        assert status(person) == 404
    WeekPlan.objects.update(state=PlanState.DRAFT)
    assert (status(in_firm.office), status(in_firm.technician)) == (200, 404)


def test_the_same_round_gives_the_same_bytes(item: PlannedRound, in_firm: Firm, sign_in: Any) -> None:
    browser, url = sign_in(in_firm.office), reverse("reports:round_sheet", args=[item.pk])

    assert browser.get(url).content == browser.get(url).content
