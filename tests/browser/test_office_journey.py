"""The office plans a visit at a desk, with the keyboard alone; every page on the way is accessible."""

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.utils import timezone
from django_scopes import scope
from playwright.sync_api import Page

from service.visits.closures import close_spa
from service.visits.models import Defect, Visit
from tests.personas import Firm
from tests.visits.working import planned, signed


def press_until(page: Page, key: str, found: Callable[[], bool]) -> None:
    """Press a key until something is reached, as somebody without a mouse does."""
    for _ in range(60):
        if found():
            return
        page.keyboard.press(key)
    raise AssertionError(f"not reached with {key}")


def on(page: Page, selector: str) -> Callable[[], bool]:
    return lambda: bool(page.evaluate("s => document.activeElement.matches(s)", selector))


def keep_picture(page: Page, name: str) -> None:
    """A picture to look at, when somebody asks for it."""
    if folder := os.environ.get("RUNNEL_PICTURES"):
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def test_the_office_plans_a_visit_with_the_keyboard_alone(
    new_page: Callable[..., Page], firm: Firm, enter: Any, axe_clean: Any
) -> None:
    page = new_page("desk")
    enter(page, firm.office)
    page.goto("/visits/planned/")
    axe_clean(page)

    press_until(page, "Tab", on(page, "a.button.main"))
    page.keyboard.press("Enter")
    page.wait_for_url("**/planned/new/")
    axe_clean(page)
    press_until(page, "Tab", on(page, f'a[href="?spa={firm.spa.pk}"]'))
    page.keyboard.press("Enter")
    page.wait_for_url("**/planned/new/?spa=*")
    axe_clean(page)
    keep_picture(page, "plan-new")

    press_until(page, "Tab", on(page, "[name=technician]"))
    page.keyboard.type(firm.technician.name)
    press_until(page, "Tab", on(page, "[name=bathers_expected]"))
    page.keyboard.type("6")
    press_until(page, "Tab", on(page, "[name=instructions]"))
    page.keyboard.type("Bring the long brush")
    press_until(page, "Tab", on(page, "form.form button.main"))
    page.keyboard.press("Enter")
    page.wait_for_url("**/planned/?start=*")

    axe_clean(page)
    keep_picture(page, "planned")
    with scope(organisation=firm.organisation):
        made = Visit.objects.get()
        assert (made.spa, made.technician, made.bathers_expected) == (firm.spa, firm.technician, 6)
        assert made.planned_on == timezone.localdate()


def test_every_list_and_page_of_the_office_is_accessible(
    page: Page, firm: Firm, enter: Any, axe_clean: Any
) -> None:
    with scope(organisation=firm.organisation):
        record = signed(firm).record
        visit = planned(firm)
        close_spa(spa=firm.spa, reason="Glass in the water", by=firm.office)
        defect = Defect.objects.create(
            organisation=firm.organisation, spa=firm.spa, description="Cover torn", found_by=firm.office
        )
    enter(page, firm.office)
    width = page.viewport_size["width"] if page.viewport_size else 0

    for name, address in {
        "records": "records/",
        "record": f"records/{record.pk}/",
        "amend": f"records/{record.pk}/amend/",
        "history": f"spas/{firm.spa.pk}/history/",
        "defects": "defects/",
        "defect": f"defects/{defect.pk}/",
        "closures": "closures/",
        "edit": f"planned/{visit.pk}/edit/",
        "cancel": f"planned/{visit.pk}/cancel/",
    }.items():
        page.goto(f"/visits/{address}")
        keep_picture(page, f"{name}-{width}")
        axe_clean(page)
