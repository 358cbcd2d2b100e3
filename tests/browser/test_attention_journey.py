"""The office finds what needs somebody, settles it, searches, and changes rows; on a phone and at a desk."""

from datetime import timedelta
from typing import Any

from django.utils import timezone
from django_scopes import scope
from playwright.sync_api import Page, expect

from service.visits.closures import close_spa
from service.visits.models import Defect, Visit, VisitKind
from tests.browser.test_office_journey import keep_picture
from tests.factories import BatchFactory, ProductFactory, VisitFactory
from tests.personas import Firm
from tests.visits.working import signed

YESTERDAY = timezone.localdate() - timedelta(days=1)


def trouble(firm: Firm) -> None:
    with scope(organisation=firm.organisation):
        signed(firm)
        close_spa(spa=firm.hidden_spa, reason="Glass in the water", by=firm.office)
        VisitFactory(spa=firm.spa, technician=firm.technician, planned_on=YESTERDAY)
        BatchFactory(product=ProductFactory(organisation=firm.organisation), expires_on=YESTERDAY)
        Defect.objects.create(
            organisation=firm.organisation,
            spa=firm.spa,
            description="Cover torn",
            due_on=YESTERDAY,
            found_by=firm.office,
        )


def test_a_closed_spa_is_settled_from_the_list(page: Page, firm: Firm, enter: Any, axe_clean: Any) -> None:
    trouble(firm)
    width = page.viewport_size["width"] if page.viewport_size else 0
    enter(page, firm.office)
    page.goto("/office/")
    keep_picture(page, f"attention-{width}")
    axe_clean(page)

    page.get_by_role("link", name="Plan the retest").click()
    page.get_by_role("button", name="Plan the visit").click()
    page.goto("/office/?kind=closed")

    assert page.get_by_role("link", name="Change that visit").is_visible()
    with scope(organisation=firm.organisation):
        assert Visit.objects.filter(spa=firm.hidden_spa, kind=VisitKind.RETEST).exists()


def test_control_and_slash_lead_to_the_search_and_put_the_cursor_into_it(
    page: Page, firm: Firm, enter: Any, axe_clean: Any
) -> None:
    trouble(firm)
    width = page.viewport_size["width"] if page.viewport_size else 0
    enter(page, firm.owner)
    page.goto("/office/")
    page.keyboard.press("/")
    assert page.url.endswith("/office/")  # WCAG 2.2, 2.1.4: a key alone does nothing
    page.keyboard.press("Control+/")
    page.wait_for_url("**/search/")
    # The browser puts the cursor there with its next drawing, which may come after the load.
    expect(page.get_by_role("searchbox")).to_be_focused()
    page.keyboard.type(firm.spa.name)
    page.keyboard.press("Enter")

    page.get_by_role("heading", name="Visits").wait_for()
    keep_picture(page, f"search-{width}")
    axe_clean(page)


def test_rows_are_ticked_looked_at_and_changed_without_a_script(
    new_page: Any, firm: Firm, enter: Any, axe_clean: Any
) -> None:
    for size in ("phone", "desk"):
        page = new_page(size, scripts=False)
        enter(page, firm.office)
        page.goto("/spas/")
        page.get_by_label(f"Choose {firm.spa.name}").check()
        keep_picture(page, f"spas-{size}")
        page.get_by_role("button", name="Change those ticked").click()
        keep_picture(page, f"change-what-{size}")
        page.get_by_role("link", name="Feeder").click()
        page.get_by_label("Feeder").select_option("floater" if size == "phone" else "none")
        keep_picture(page, f"change-to-{size}")
        page.get_by_role("button", name="Look at what would change").click()
        keep_picture(page, f"change-summary-{size}")
        page.get_by_role("button", name="Change 1 row").click()
        assert page.get_by_text("1 changed: Feeder").is_visible()


def test_an_empty_firm_sees_the_way(page: Page, firm: Firm, enter: Any, axe_clean: Any) -> None:
    width = page.viewport_size["width"] if page.viewport_size else 0
    enter(page, firm.owner)
    page.goto("/office/setting-up/")
    keep_picture(page, f"setting-up-{width}")
    axe_clean(page)
    for address in ("/office/change/spas/", f"/office/change/spas/?row={firm.spa.pk}"):
        page.goto(address)
        axe_clean(page)
