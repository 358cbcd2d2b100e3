"""The water of a spa over time in a browser: range by the address, no script needed, on paper too."""

import re
from collections.abc import Callable
from datetime import timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from accounts.roles import Role
from service.visits.closures import close_spa
from tests.personas import Firm
from tests.visits.test_history import imported
from tests.visits.working import signed

NewPage = Callable[..., Page]


@pytest.fixture
def watched(in_firm: Firm, transactional_db: None, settings: Any, tmp_path: Path) -> Firm:
    """A spa with a signed visit, a closure, and readings from a list of 20 and of 200 days ago."""
    settings.MEDIA_ROOT = tmp_path
    signed(in_firm)
    close_spa(spa=in_firm.spa, reason="Cloudy", by=in_firm.technician)
    for days in (20, 200):
        imported(in_firm, timezone.now() - timedelta(days=days), ph="8.1", free_chlorine_mg_l="2")
    return in_firm


@pytest.mark.parametrize("size", ["phone", "desk"])
@pytest.mark.parametrize("scripts", [True, False], ids=["with-script", "without-script"])
def test_the_days_are_chosen_by_a_link_and_stay_in_the_address(
    size: str, scripts: bool, new_page: NewPage, watched: Firm, enter: Any, axe_clean: Callable[[Page], None]
) -> None:
    page = new_page(size, scripts=scripts)
    enter(page, watched.office)
    page.goto(f"/visits/spas/{watched.spa.pk}/history/")

    expect(page.get_by_role("heading", name="The water over the last 22 days")).to_be_visible()
    page.get_by_role("link", name="365 days").click()

    expect(page).to_have_url(re.compile(r"\?days=365$|\?days=365#"))
    expect(page.get_by_role("heading", name="The water over the last 202 days")).to_be_visible()
    expect(page.get_by_role("link", name="365 days")).to_have_attribute("aria-current", "true")
    picture = page.get_by_role("img", name=re.compile("^pH over time"))
    expect(picture).to_have_accessible_name(re.compile("2 outside the guideline"))
    expect(page.get_by_role("img", name=re.compile("^What happened"))).to_be_visible()
    table = page.get_by_role("table", name="Readings and what happened, newest first")
    expect(table.get_by_text("Closed: Cloudy")).to_be_visible()
    assert table.get_by_text("○ imported").count() == 2
    if scripts:
        axe_clean(page)


@pytest.mark.parametrize("role", [Role.RENTAL_MANAGER, Role.AUDITOR])
def test_who_only_looks_sees_the_same_picture(
    role: Role, new_page: NewPage, watched: Firm, enter: Any, axe_clean: Callable[[Page], None]
) -> None:
    page = new_page("phone", dark=True)
    enter(page, watched.people[role])
    tub = f"/reports/tubs/{watched.spa.pk}/" if role == Role.RENTAL_MANAGER else ""
    page.goto(f"{tub or f'/visits/spas/{watched.spa.pk}/history/'}?days=30")

    expect(page.get_by_role("img", name=re.compile("^Free chlorine over time"))).to_be_visible()
    axe_clean(page)


def test_the_history_on_paper_keeps_the_numbers_and_leaves_the_choice_out(
    new_page: NewPage, watched: Firm, enter: Any
) -> None:
    page = new_page("desk")
    enter(page, watched.owner)
    page.goto(f"/visits/spas/{watched.spa.pk}/history/?days=365")

    paper = PdfReader(BytesIO(page.pdf(format="A4")))

    words = " ".join(" ".join(sheet.extract_text() for sheet in paper.pages).split())
    assert "The water over the last 202 days" in words
    assert "8.1 above" in words
    assert "365 days" not in words
