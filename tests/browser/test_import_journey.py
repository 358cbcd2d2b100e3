"""The office brings lists in: a good one and back, and one with errors told at their cells."""

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django_scopes import scope
from playwright.sync_api import Page

from service.importing.write import write_list
from service.rounds.models import Agreement
from service.runs.models import Run
from service.runs.work import do_run
from service.sites.models import Client
from tests.personas import Firm

GOOD = b"reference,name,phone\nC7,Hillside Lets,01632 960123\nC8,Lakeside Lets,\n"
BAD = b"reference,name,email\nC7,Hillside Lets,a@hillside.example\nC8,Lakeside Lets,no address\nC7,Twice,\n"


def keep_picture(page: Page, name: str) -> None:
    """A picture to look at, when somebody asks for it."""
    if folder := os.environ.get("RUNNEL_PICTURES"):
        width = page.viewport_size["width"] if page.viewport_size else 0
        page.screenshot(path=Path(folder) / f"lists-{name}-{width}.png", full_page=True)


def bring_in(page: Page, data: bytes, kind: str = "client") -> None:
    page.goto("/lists/")
    page.select_option("[name=kind]", kind)
    page.set_input_files("[name=upload]", {"name": f"{kind}s.csv", "mimeType": "text/csv", "buffer": data})
    page.click("text=Read the list")
    page.wait_for_url("**/lists/*-*/")


def test_a_good_list_goes_in_and_comes_back(
    page: Page, firm: Firm, enter: Callable[[Page, Any], None], axe_clean: Callable[[Page], None]
) -> None:
    enter(page, firm.office)
    page.goto("/lists/columns/")
    axe_clean(page)
    keep_picture(page, "columns")
    bring_in(page, GOOD)
    axe_clean(page)
    keep_picture(page, "preview")

    page.click("text=Import 2 rows")
    with scope(organisation=firm.organisation):
        do_run(Run.objects.get().pk, write_list)
        assert Client.objects.filter(reference__in=["C7", "C8"]).count() == 2
    page.reload()
    page.click("text=Take this import back")
    axe_clean(page)
    keep_picture(page, "take-back")
    page.click("button:has-text('Take it back')")
    page.wait_for_selector("text=is taken back")

    with scope(organisation=firm.organisation):
        assert not Client.objects.filter(reference__in=["C7", "C8"]).exists()
    page.goto("/lists/")
    axe_clean(page)
    keep_picture(page, "home")


def test_errors_stand_at_their_cells_and_nothing_can_be_imported(
    page: Page, firm: Firm, enter: Callable[[Page, Any], None], axe_clean: Callable[[Page], None]
) -> None:
    enter(page, firm.office)
    bring_in(page, BAD)
    axe_clean(page)
    keep_picture(page, "errors")

    said = page.inner_text("main")
    assert "Enter a valid email address." in said
    assert said.count("The same reference “C7” stands in row") == 2
    assert page.locator("button.main").count() == 0


def test_agreements_go_in_with_their_errors_told_at_the_cells_and_come_back(
    page: Page, firm: Firm, enter: Callable[[Page, Any], None], axe_clean: Callable[[Page], None]
) -> None:
    heads = "spa,frequency,times_a_week,weekdays,window_from,starts_on,season_from,season_to\n"
    good = f"{firm.spa.name},times_a_week,2,Monday; Thursday,08:00,2026-04-01,04-15,10-31\n"
    enter(page, firm.office)
    bring_in(
        page, f"{heads}{firm.spa.name},monthly,,Caturday,early,2026-04-01,04-15,\n".encode(), "agreement"
    )
    axe_clean(page)
    keep_picture(page, "agreements-errors")
    said = page.inner_text("main")
    for cell in ("monthly", "Caturday", "early"):
        assert f"“{cell}”" in said
    assert page.locator("button.main").count() == 0

    bring_in(page, f"{heads}{good}{firm.hidden_spa.name},changeover,,,,2026-04-01,,\n".encode(), "agreement")
    axe_clean(page)
    keep_picture(page, "agreements")
    page.click("text=Import 2 rows")
    with scope(organisation=firm.organisation):
        do_run(Run.objects.get().pk, write_list)
        assert Agreement.objects.count() == 2
    page.goto("/rounds/agreements/")
    assert page.locator("tbody tr").count() == 2
    keep_picture(page, "agreements-list")

    page.goto("/lists/")
    page.locator("a:has-text('agreements.csv')").first.click()
    page.click("text=Take this import back")
    page.click("button:has-text('Take it back')")
    page.wait_for_selector("text=is taken back")
    with scope(organisation=firm.organisation):
        assert Agreement.objects.count() == 0
