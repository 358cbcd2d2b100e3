"""The office plans a week, moves a visit with the keyboard, publishes it, and the technician reads it."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.utils import timezone
from django_scopes import scope
from playwright.sync_api import Page, expect

from service.rounds.build_week import ask_week_plan, build
from service.rounds.models import PlannedVisit, WeekPlan
from service.runs.models import Run, RunState
from service.runs.work import do_run
from service.visits.models import Visit, VisitState
from tests.browser.examining import complaints
from tests.browser.keyboard import Keyboard
from tests.factories import AgreementFactory, ShiftFactory, TechnicianBaseFactory
from tests.personas import Firm
from tests.rounds.week_scene import spas_around


def next_monday() -> date:
    today = timezone.localdate()
    return today + timedelta(days=7 - today.weekday())


@pytest.fixture
def owing(firm: Firm) -> Firm:
    """Four spas are owed a visit a week; one technician works from Monday to Friday."""
    with scope(organisation=firm.organisation):
        for spa in spas_around(firm, 4):
            AgreementFactory(spa=spa)
        TechnicianBaseFactory(
            technician=firm.technician, start_name="The yard", start_latitude="51", start_longitude="-2"
        )
        for weekday in range(5):
            ShiftFactory(technician=firm.technician, weekday=weekday)
    return firm


def plan_now(firm: Firm) -> None:
    """What the worker does with the run that was asked for; searching ends after a few rounds."""
    with scope(organisation=firm.organisation):
        run = Run.objects.get(state=RunState.QUEUED)
        Run.objects.filter(pk=run.pk).update(arguments={**run.arguments, "iterations": 40})
        do_run(run.pk, build)


def test_a_week_is_planned_moved_with_keys_published_and_read_on_the_phone(
    new_page: Callable[..., Page], owing: Firm, enter: Any, axe_clean: Any
) -> None:
    page, monday = new_page("desk"), next_monday()
    enter(page, owing.office)
    page.goto(f"/rounds/week/{monday}/")
    axe_clean(page)
    page.get_by_role("button", name="Plan the week").click()
    expect(page.get_by_role("heading", name="Being planned")).to_be_visible()
    axe_clean(page)

    plan_now(owing)
    expect(page.get_by_text("Draft, not on people's days")).to_be_visible()
    axe_clean(page)

    _move_with_keys(page, owing, axe_clean)

    page.goto(f"/rounds/week/{monday}/")
    page.get_by_role("link", name="Publish…").click()
    axe_clean(page)
    page.get_by_role("button", name="Publish").click()
    expect(page.get_by_text("4 visits new")).to_be_visible()
    with scope(organisation=owing.organisation):
        assert Visit.objects.filter(state=VisitState.PLANNED).count() == 4
        row = PlannedVisit.objects.select_related("spa").first()
    assert row is not None

    phone = new_page("phone")
    enter(phone, owing.technician)
    phone.goto(f"/rounds/week/{monday}/")
    expect(phone.get_by_text("Published, on people's days")).to_be_visible()
    expect(phone.get_by_text(row.spa.name).first).to_be_visible()
    axe_clean(phone)


def _move_with_keys(page: Page, firm: Firm, axe_clean: Any) -> None:
    with scope(organisation=firm.organisation):
        plan = WeekPlan.objects.get()
        row = plan.visits.filter(day__lt=plan.monday + timedelta(days=4)).select_related("spa").first()
    assert row is not None
    page.get_by_role("link", name="Move visits").click()
    axe_clean(page)
    Keyboard(page).to(words=page.locator(f"#visit-{row.pk}").inner_text())
    page.keyboard.press("ArrowRight")
    expect(page.get_by_role("button", name="Move it")).to_be_visible()
    axe_clean(page)
    page.keyboard.press("Enter")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    expect(page.get_by_text(f"{row.spa.name} is on the round of")).to_be_visible()
    was = row.day
    with scope(organisation=firm.organisation):
        row.refresh_from_db()
    assert was is not None
    assert row.day == was + timedelta(days=1)


def test_without_scripts_a_visit_is_moved_on_its_own_page(
    new_page: Callable[..., Page], owing: Firm, enter: Any
) -> None:
    page, monday = new_page("desk", scripts=False), next_monday()
    enter(page, owing.office)
    page.goto(f"/rounds/week/{monday}/")
    page.get_by_role("button", name="Plan the week").click()
    plan_now(owing)
    page.get_by_role("link", name="See how far it is").click()

    page.get_by_role("link", name="Move…").first.click()
    page.get_by_label("Day").select_option(str(monday + timedelta(days=4)))
    page.get_by_role("button", name="See what it does").click()
    page.get_by_role("button", name="Move it").click()

    expect(page.get_by_text("is on the round of")).to_be_visible()


def test_the_pages_that_change_a_planned_week_are_accessible(
    new_page: Callable[..., Page], owing: Firm, enter: Any
) -> None:
    """With something on each: rounds to draw, places to choose from, two plans, the effect of a move."""
    monday = next_monday()
    for _ in range(2):
        with scope(organisation=owing.organisation):
            ask_week_plan(monday, owing.office)
        plan_now(owing)
    with scope(organisation=owing.organisation):
        new, old = WeekPlan.objects.order_by("-created_at")
        row = new.visits.filter(day__isnull=False).select_related("technician").first()
        assert row is not None
        item = new.rounds.get(pk=row.round_id)
    page = new_page("desk")
    enter(page, owing.office)
    friday = monday + timedelta(days=4)
    wrong = []
    for path in (
        f"/rounds/plans/{new.pk}/grid/",
        f"/rounds/plans/{new.pk}/days/{row.day}/map/",
        f"/rounds/planned-rounds/{item.pk}/map/",
        f"/rounds/plans/{new.pk}/urgent/?spa={row.spa_id}&minutes=45&first_day={monday}&last_day={friday}",
        f"/rounds/plans/{new.pk}/off/",
        f"/rounds/plans/{new.pk}/compare/?with={old.pk}",
        f"/rounds/planned-visits/{row.pk}/move/?technician={row.technician_id}&day={friday}",
    ):
        page.goto(path)
        assert "Not here" not in page.title()
        wrong += [f"{path}: {what}" for what in complaints(page)]

    assert wrong == [], "\n".join(wrong)
