"""A rental manager looks at own tubs, answers a repair, has a PDF made and downloads it."""

import os
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from django_scopes import scope
from playwright.sync_api import Page, expect

from reports.tasks import build_visit_record
from service.runs.models import Run
from service.runs.work import do_run
from service.visits.models import Closure, Consent, Defect, Record, Verdict
from tests.factories import SpaFactory, VisitFactory
from tests.personas import Firm
from tests.reports.signed_visits import GOOD, signed_visit


@pytest.fixture(autouse=True)
def _own_files(settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def record(firm: Firm) -> Record:
    """A tub with a few weeks behind it and a repair that waits; another that is closed."""
    now = timezone.now()
    firm.organisation.phone, firm.organisation.email = "01632 960100", "office@alderbrook.example"
    firm.organisation.save()
    with scope(organisation=firm.organisation):
        for week in range(5, 0, -1):
            ph = f"7.{(week * 3) % 10}"
            signed_visit(firm, at=now - timedelta(weeks=week), before={**GOOD, "ph": ph})
        dose = {
            "product": "Acid salt",
            "substance": "sodium_bisulfate",
            "planned": "42",
            "actual": "40",
            "purpose": "lower pH",
        }
        last = signed_visit(
            firm,
            at=now - timedelta(minutes=20),
            before={**GOOD, "ph": "7.9"},
            after=GOOD,
            doses=[dose],
            tasks=[{"kind": "filter_rinse", "why": "Every 7 days: common practice, no source"}],
            note_to_owner="The cover's strap is torn.",
        )
        VisitFactory(spa=firm.spa, planned_on=now.date() + timedelta(days=3), changeover=True)
        Defect.objects.create(
            organisation=firm.organisation,
            spa=firm.spa,
            found_by=firm.technician,
            description="The cover's strap is torn",
            consent=Consent.WAITING,
            who_pays="owner",
        )
        closed = SpaFactory(site=firm.site, name="Terrace tub")
        signed_visit(
            firm,
            closed,
            at=now - timedelta(hours=2),
            before={**GOOD, "free_chlorine_mg_l": "0.4"},
            verdict=Verdict.CLOSED_UNTIL_RETEST,
            closure="Free chlorine reads 0.4 mg/L, below 3 (25-C DCMR 404.2(b)(2)).",
            retest_by="The caretaker",
            retest_due=now + timedelta(hours=3),
        )
    return last


def keep_picture(page: Page, name: str) -> None:
    """A picture to look at, when somebody asks for it."""
    if folder := os.environ.get("RUNNEL_PICTURES"):
        width = page.viewport_size["width"] if page.viewport_size else 0
        page.screenshot(path=Path(folder) / f"{name}-{width}.png", full_page=True)


def do_the_waiting_run(firm: Firm) -> None:
    with scope(organisation=firm.organisation):
        do_run(Run.objects.get(state="queued").pk, build_visit_record)


def test_a_manager_sees_answers_and_downloads(
    page: Page, firm: Firm, record: Record, enter: Any, axe_clean: Any
) -> None:
    enter(page, firm.rental_manager)
    page.goto("/")
    page.wait_for_url("**/reports/tubs/")
    axe_clean(page)
    keep_picture(page, "my-tubs")

    page.get_by_role("link", name=firm.spa.name, exact=True).click()
    axe_clean(page)
    keep_picture(page, "my-tub")
    page.get_by_role("button", name="Yes to").click()
    expect(page.get_by_text("Yes recorded: The cover's strap is torn")).to_be_visible()

    page.get_by_role("link", name="PDF of the record").first.click()
    axe_clean(page)
    keep_picture(page, "not-made")
    page.get_by_role("button", name="Make the PDF").click()
    expect(page.get_by_text("for a worker that is free")).to_be_visible()
    keep_picture(page, "being-made")
    do_the_waiting_run(firm)
    # No reload: the page has been asking.
    with page.expect_download() as downloading:
        page.get_by_role("link", name="Download the PDF").click()
    assert downloading.value.suggested_filename.startswith("visit-record-")
    assert Path(downloading.value.path()).read_bytes().startswith(b"%PDF-")


def test_a_notice_of_closure_can_be_read_and_printed(
    page: Page, firm: Firm, record: Record, enter: Any, axe_clean: Any
) -> None:
    with scope(organisation=firm.organisation):
        closure = Closure.objects.get()
    enter(page, firm.rental_manager)
    page.goto(f"/reports/tubs/{closure.spa_id}/")
    axe_clean(page)
    keep_picture(page, "closed-tub")
    page.get_by_role("link", name="Notice of closure to print").click()
    axe_clean(page)
    keep_picture(page, "notice")
    expect(page.get_by_text("Do not use")).to_be_visible()
    with page.expect_download() as downloading:
        page.get_by_role("link", name="Download as PDF").click()
    assert downloading.value.suggested_filename == "notice-of-closure.pdf"
    if folder := os.environ.get("RUNNEL_PICTURES"):
        downloading.value.save_as(Path(folder) / "notice.pdf")


def test_a_pdf_is_made_and_downloaded_without_scripts(
    new_page: Callable[..., Page], firm: Firm, record: Record, enter: Any
) -> None:
    page = new_page("phone", scripts=False)
    enter(page, firm.rental_manager)
    page.goto(f"/reports/records/{record.pk}/")
    page.get_by_role("button", name="Make the PDF").click()
    do_the_waiting_run(firm)
    with page.expect_download() as downloading:
        page.get_by_role("link", name="See whether it is ready").click()
    assert downloading.value.suggested_filename.startswith("visit-record-")
