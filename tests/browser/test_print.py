"""Pages on paper: A4 and Letter from Chromium's own printing, read back as text (pypdf 7.1.1, PyPI)."""

import os
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django_scopes import scope
from playwright.sync_api import Page
from pypdf import PdfReader

from service.rounds.models import WeekPlan
from service.visits.models import Visit
from tests.browser.filled_world import filled_world
from tests.isolation.world import World
from tests.visits.working import planned

NAVIGATION = ["Audit trail", "Search", "Sign out", "Skip to", "Signed in as", "Your account", "Clients ›"]
SHEETS = ["A4", "Letter"]
# ISO 216 and ANSI X3.151, in points of 1/72 inch.
POINTS = {"A4": (595, 842), "Letter": (612, 792)}


@pytest.fixture
def world(transactional_db: None, settings: Any, tmp_path: Path) -> World:
    settings.MEDIA_ROOT = tmp_path
    return filled_world("Alderbrook Spa Care")


def printed(page: Page, path: str, sheet: str, name: str) -> PdfReader:
    page.goto(path)
    written = page.pdf(format=sheet, print_background=False)
    if folder := os.environ.get("RUNNEL_PICTURES"):
        (Path(folder) / f"{name}-{sheet}.pdf").write_bytes(written)
    return PdfReader(BytesIO(written))


def words_of(paper: PdfReader) -> str:
    return " ".join(" ".join(sheet.extract_text() for sheet in paper.pages).split())


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_record_on_paper_has_the_verdict_the_readings_and_no_navigation(
    sheet: str, new_page: Callable[..., Page], world: World, enter: Any
) -> None:
    page = new_page("desk", dark=True)
    enter(page, world.firm.owner)
    with scope(organisation=world.firm.organisation):
        record = Visit.objects.filter(photos__isnull=False, record__isnull=False).get().record

    paper = printed(page, f"/visits/records/{record.pk}/", sheet, "record")
    words = words_of(paper)

    assert "Fit for use from a time" in words
    assert "pH 8.2 ± 0.1, above 7.8" in words
    assert "Free chlorine 1.2 mg/L, below 3" in words
    assert "Acid salt 3" in words
    assert record.digest[:32] in words
    assert [word for word in [*NAVIGATION, "Download", "amendment", "http"] if word in words] == []
    assert len(paper.pages) > 1
    for number, one in enumerate(paper.pages, start=1):
        # Chromium rounds to whole CSS pixels, up to 0.75 points.
        assert (one.mediabox.width, one.mediabox.height) == pytest.approx(POINTS[sheet], abs=1)
        assert page.title() in one.extract_text()
        assert f"Page {number} of {len(paper.pages)}" in one.extract_text()


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_notice_of_closure_fits_one_sheet(
    sheet: str, new_page: Callable[..., Page], world: World, enter: Any
) -> None:
    page = new_page("phone")
    enter(page, world.firm.rental_manager)

    paper = printed(page, f"/reports/closures/{world.seen['closure'].pk}/notice/", sheet, "notice")
    words = words_of(paper)

    assert len(paper.pages) == 1
    assert "Closed Do not use" in words
    assert "Cloudy" in words
    assert [word for word in ["Back", "Download", "Print this page"] if word in words] == []


@pytest.mark.parametrize("sheet", SHEETS)
def test_planned_visits_on_paper_are_the_table_and_nothing_else(
    sheet: str, new_page: Callable[..., Page], world: World, enter: Any
) -> None:
    page = new_page("desk")
    enter(page, world.firm.office)
    with scope(organisation=world.firm.organisation):
        for _ in range(40):
            planned(world.firm)

    paper = printed(page, "/visits/planned/", sheet, "planned")
    words = words_of(paper)

    assert words.count(world.firm.site.name) >= 41
    assert [word for word in [*NAVIGATION, "Plan a visit", "Show", "Hand over"] if word in words] == []
    # The table's head stands on every sheet.
    assert all("Technician" in one.extract_text() for one in paper.pages)


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_week_on_paper_has_its_rounds_and_nothing_to_press(
    sheet: str, new_page: Callable[..., Page], world: World, enter: Any
) -> None:
    page = new_page("desk")
    enter(page, world.firm.office)
    with scope(organisation=world.firm.organisation):
        plan = WeekPlan.objects.get()
        waiting = plan.visits.filter(day=None).first() or plan.visits.first()
        assert waiting is not None
        waiting.day = waiting.technician = waiting.round = None
        waiting.arrive_at = waiting.start_at = waiting.leave_at = None
        waiting.reason = "No allowed day is left."
        waiting.save()
        plan.notes = [{"text": "The pass is closed on Tuesday."}]
        plan.save()

    words = words_of(printed(page, f"/rounds/week/{plan.monday}/", sheet, "week"))

    assert "No allowed day is left." in words
    assert "The pass is closed on Tuesday." in words  # folded away on the screen
    assert [
        word
        for word in [*NAVIGATION, "Give it a place", "Move visits", "Urgent call", "http"]
        if word in words
    ] == []
