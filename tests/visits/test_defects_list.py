"""The list of defects: words, filters and order stand in the address; the worst first; only one's own."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django_scopes import scope

from service.visits.models import Consent, Defect, Severity
from tests.personas import Firm

FOUND = datetime(2026, 5, 4, 9, tzinfo=UTC)
ADDRESS = "/visits/defects/"


@pytest.fixture
def defects(firm: Firm) -> None:
    """Four at two spas: each way bad, one settled."""
    with scope(organisation=firm.organisation):
        rows = [
            ("Lid is heavy", firm.spa, Severity.MINOR, Consent.NOT_NEEDED, None),
            ("Pump hums", firm.spa, Severity.SOON, Consent.WAITING, date(2026, 6, 1)),
            ("Suction cover loose", firm.hidden_spa, Severity.DANGER, Consent.GIVEN, date(2026, 5, 5)),
            ("Step was wet", firm.hidden_spa, Severity.SOON, Consent.REFUSED, None),
        ]
        for number, (description, spa, severity, consent, due_on) in enumerate(rows):
            settled = {"closed_at": FOUND, "closed_by": firm.office} if "Step" in description else {}
            Defect.objects.create(
                organisation=firm.organisation,
                spa=spa,
                description=description,
                severity=severity,
                consent=consent,
                due_on=due_on,
                found_by=firm.technician,
                found_at=FOUND + timedelta(hours=number),
                **settled,
            )


def found(browser: Browser, asked: str = "") -> list[str]:
    page = browser.get(f"{ADDRESS}?{asked}").context["listing"].page
    return [defect.description for defect in page]


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ("", ["Suction cover loose", "Pump hums", "Lid is heavy"]),
        ("show=all", ["Suction cover loose", "Pump hums", "Step was wet", "Lid is heavy"]),
        ("show=settled", ["Step was wet"]),
        ("q=pump", ["Pump hums"]),
        ("severity=minor", ["Lid is heavy"]),
        ("consent=refused&show=all", ["Step was wet"]),
        ("sort=-bad", ["Lid is heavy", "Pump hums", "Suction cover loose"]),
        ("sort=due", ["Suction cover loose", "Pump hums", "Lid is heavy"]),
        ("sort=-due", ["Lid is heavy", "Pump hums", "Suction cover loose"]),
        ("sort=what", ["Lid is heavy", "Pump hums", "Suction cover loose"]),
        ("sort=-found", ["Suction cover loose", "Pump hums", "Lid is heavy"]),
        ("sort=nothing&page=99", ["Suction cover loose", "Pump hums", "Lid is heavy"]),
        ("severity=terrible", ["Suction cover loose", "Pump hums", "Lid is heavy"]),
    ],
)
def test_words_filters_and_order_are_read_from_the_address(
    firm: Firm, defects: None, sign_in: Any, asked: str, expected: list[str]
) -> None:
    assert found(sign_in(firm.office), asked) == expected


def test_words_are_looked_for_at_the_spa_and_its_site_too(firm: Firm, defects: None, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        firm.spa.name = "Otter tub"
        firm.spa.save()

    assert found(sign_in(firm.office), "q=otter") == ["Pump hums", "Lid is heavy"]
    assert "No defect fits" in sign_in(firm.office).get(f"{ADDRESS}?q=badger").content.decode()


def test_a_rental_manager_finds_only_those_of_their_own_sites(
    firm: Firm, defects: None, sign_in: Any
) -> None:
    browser = sign_in(firm.rental_manager)

    assert found(browser, "show=all") == ["Pump hums", "Lid is heavy"]
    assert found(browser, "q=suction") == []


def test_the_list_sorts_by_a_press_on_a_head_and_keeps_its_filters(
    firm: Firm, defects: None, sign_in: Any
) -> None:
    page = sign_in(firm.office).get(f"{ADDRESS}?severity=soon").content.decode()

    assert 'aria-sort="ascending"><a href="?severity=soon&amp;sort=-bad"' in page
    assert '<a href="?severity=soon&amp;sort=due"' in page
