"""A technician's day on a phone: sign in, the day, the stop, the visit, signed."""

from collections.abc import Callable
from typing import Any

import pytest
from django_scopes import scope
from playwright.sync_api import Page, expect

from service.visits.models import Reading, Record, Visit, VisitState
from tests.factories import PASSWORD, PIN
from tests.personas import Firm
from tests.visits.working import GOOD, planned


@pytest.fixture
def visit(in_firm: Firm) -> Visit:
    return planned(in_firm)


def test_from_sign_in_to_a_signed_visit(
    new_page: Callable[..., Page], visit: Visit, firm: Firm, axe_clean: Any
) -> None:
    page = new_page("phone")
    page.goto("/")
    page.get_by_label("E-mail").fill(firm.technician.email)
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name=f"Next: {firm.site.name}")).to_be_visible()
    axe_clean(page)

    page.get_by_role("link", name="Open the stop").click()
    axe_clean(page)
    page.get_by_role("link", name="Open the visit").click()
    axe_clean(page)
    page.get_by_role("button", name="Start the visit").click()
    axe_clean(page)

    for question in page.get_by_role("group").all():
        yes = question.get_by_label("Yes", exact=True)
        if yes.count():
            yes.check()
    page.get_by_role("button", name="Save what I saw").click()
    expect(page.get_by_text("The inspection is saved.")).to_be_visible()
    for name, value in GOOD.items():
        page.locator(f"#id_before-{name}-value").fill(value)
    page.get_by_role("button", name="Save and decide").first.click()
    expect(page.get_by_text("People may be let in once the visit is signed")).to_be_visible()
    axe_clean(page)

    page.get_by_label("Your signing PIN").fill(PIN)
    page.get_by_role("button", name="Sign the visit").click()
    expect(page.get_by_text("Nothing on it changes any more.")).to_be_visible()
    axe_clean(page)
    with scope(organisation=firm.organisation):
        assert Visit.objects.get(pk=visit.pk).state == VisitState.SIGNED
        assert Record.objects.count() == 1


def test_what_is_typed_is_still_there_after_the_page_was_left(
    new_page: Callable[..., Page], visit: Visit, firm: Firm, enter: Any
) -> None:
    page = new_page("phone")
    enter(page, firm.technician)
    page.goto(f"/visits/{visit.pk}/")
    page.get_by_role("button", name="Start the visit").click()
    field = page.locator("#id_before-ph-value")
    with page.expect_response(lambda answer: answer.url.endswith("/draft/")):
        field.fill("7.x")
    expect(page.get_by_text("This is not a number.")).to_be_visible()

    page.goto("/visits/today/")
    page.goto(f"/visits/{visit.pk}/")

    expect(field).to_have_value("7.x")
    with scope(organisation=firm.organisation):
        assert not Reading.objects.exists()


def test_the_visit_works_without_a_script(
    new_page: Callable[..., Page], visit: Visit, firm: Firm, enter: Any
) -> None:
    page = new_page("phone", scripts=False)
    enter(page, firm.technician)
    page.goto(f"/visits/{visit.pk}/")
    page.get_by_role("button", name="Start the visit").click()
    page.locator("#id_before-ph-value").fill("7.4")
    page.get_by_role("button", name="Save only").first.click()

    expect(page.get_by_text("The readings are saved.")).to_be_visible()
    with scope(organisation=firm.organisation):
        assert Reading.objects.get().typed == "7.4"
