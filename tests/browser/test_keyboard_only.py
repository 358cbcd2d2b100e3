"""Whole jobs without a mouse: a visit on the phone, a plan at the desk, a record downloaded."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from django_scopes import scope
from playwright.sync_api import Page, expect

from reports.tasks import build_visit_record
from service.runs.models import Run
from service.runs.work import do_run
from service.visits.inspection import ITEMS
from service.visits.models import InspectionAnswer, Record, Visit, VisitState
from tests.browser.keyboard import Keyboard
from tests.factories import PASSWORD, PIN
from tests.personas import Firm
from tests.visits.working import GOOD, planned, signed


def sign_in_by_keyboard(page: Page, email: str) -> Keyboard:
    keys = Keyboard(page)
    page.goto("/")
    keys.fill("login", email)
    keys.fill("password", PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)
    return keys


def test_a_technician_carries_out_a_whole_visit(
    new_page: Callable[..., Page], in_firm: Firm, transactional_db: None
) -> None:
    visit = planned(in_firm)
    page = new_page("phone")
    keys = sign_in_by_keyboard(page, in_firm.technician.email)
    keys.press("Open the stop")
    keys.press("Open the visit")
    keys.press("Start the visit")

    expect(page.get_by_role("button", name="Save what I saw")).to_be_visible()
    for item in ITEMS:
        keys.to(name=f"{item.key}-answer")
        keys.choose("yes")
    keys.press("Save what I saw")
    expect(page.get_by_text("The inspection is saved.")).to_be_visible()
    for parameter, value in GOOD.items():
        keys.fill(f"before-{parameter}-value", value)
    keys.press("Save and decide")
    expect(page.get_by_text("People may be let in once the visit is signed")).to_be_visible()
    keys.fill("sign-pin", PIN)
    keys.press("Sign the visit")

    expect(page.get_by_text("Nothing on it changes any more.")).to_be_visible()
    with scope(organisation=in_firm.organisation):
        assert Visit.objects.get(pk=visit.pk).state == VisitState.SIGNED
        assert set(InspectionAnswer.objects.values_list("answer", flat=True)) == {"yes"}
        assert Record.objects.count() == 1


def test_the_office_plans_a_visit(new_page: Callable[..., Page], firm: Firm, axe_clean: Any) -> None:
    page = new_page("desk")
    keys = sign_in_by_keyboard(page, firm.office.email)
    keys.press("Visits")
    keys.press("Plan a visit")
    keys.press(f"{firm.spa.name}, {firm.site.name}")
    axe_clean(page)
    keys.to(name="technician")
    page.keyboard.type(firm.technician.name)
    keys.fill("bathers_expected", "6")
    keys.fill("instructions", "Bring the long brush")
    keys.press("Plan the visit")
    page.wait_for_url("**/planned/?start=*")

    with scope(organisation=firm.organisation):
        made = Visit.objects.get()
        assert (made.spa, made.technician, made.bathers_expected) == (firm.spa, firm.technician, 6)
        assert (made.planned_on, made.instructions) == (timezone.localdate(), "Bring the long brush")


def test_a_manager_downloads_a_record(
    new_page: Callable[..., Page], in_firm: Firm, settings: Any, tmp_path: Path
) -> None:
    settings.MEDIA_ROOT = tmp_path
    signed(in_firm)
    page = new_page("phone")
    keys = sign_in_by_keyboard(page, in_firm.rental_manager.email)
    keys.press(in_firm.spa.name)
    page.wait_for_url("**/reports/tubs/*/")
    day = page.get_by_role("link", name="PDF of the record").get_attribute("aria-label")
    assert day
    keys.press(day)
    # Signing has asked for it.
    expect(page.get_by_text("for a worker that is free")).to_be_visible()
    with scope(organisation=in_firm.organisation):
        do_run(Run.objects.get(state="queued").pk, build_visit_record)
    expect(page.get_by_text("The PDF is ready.").first).to_be_visible()
    with page.expect_download() as downloading:
        keys.to(words="Download the PDF")
        page.keyboard.press("Enter")

    assert Path(downloading.value.path()).read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_the_focus_is_never_wholly_under_what_stays_on_the_screen(
    size: str, new_page: Callable[..., Page], in_firm: Firm, enter: Any
) -> None:
    """WCAG 2.2, 2.4.11: on the longest page, past the strip at the top and the bar at the bottom."""
    visit = planned(in_firm)
    page = new_page(size, reduced_motion="reduce")
    enter(page, in_firm.technician)
    page.goto(f"/visits/{visit.pk}/")
    Keyboard(page).press("Start the visit")
    page.wait_for_selector(".strip")

    hidden = []
    for _ in range(60):
        page.keyboard.press("Tab")
        hidden += page.evaluate(
            """() => {
                const one = document.activeElement, box = one.getBoundingClientRect();
                if (one.closest(".places, .strip")) return [];
                return [...document.querySelectorAll(".places, .strip")]
                    .filter((bar) => ["fixed", "sticky"].includes(getComputedStyle(bar).position))
                    .map((bar) => bar.getBoundingClientRect())
                    .filter((bar) => box.top >= bar.top && box.bottom <= bar.bottom)
                    .map(() => one.outerHTML.slice(0, 80));
            }"""
        )

    assert hidden == []
