"""The frame on a phone and at a desk: accessible, operable by keyboard, nothing sideways."""

from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page

from tests.personas import Firm


def test_a_missing_page_is_accessible(page: Page, axe_clean: Callable[[Page], None]) -> None:
    page.goto("/no-such-page/")

    axe_clean(page)


def test_your_account_is_accessible(page: Page, firm: Firm, enter: Any, axe_clean: Any) -> None:
    enter(page, firm.owner)
    page.goto("/people/me/")

    axe_clean(page)


def test_the_first_tab_stop_skips_to_the_content(page: Page, firm: Firm, enter: Any) -> None:
    enter(page, firm.owner)
    page.goto("/people/me/")

    page.keyboard.press("Tab")
    page.keyboard.press("Enter")

    assert page.evaluate("document.activeElement.id") == "content"
