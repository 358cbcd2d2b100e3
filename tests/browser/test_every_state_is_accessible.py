"""What an address alone does not show: a visit at each point, a firm with nothing, work that runs."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone
from django_scopes import scopes_disabled
from playwright.sync_api import Page, expect

from accounts.roles import Role
from service.runs.models import Run, RunState
from service.visits.closures import close_spa
from service.visits.models import Verdict, Visit
from service.visits.treatment import do_step, standing_steps
from tests.browser.examining import brief_complaints, complaints
from tests.factories import BatchFactory, OrganisationFactory, PersonFactory
from tests.isolation.addresses import ADDRESSES
from tests.isolation.test_every_address import routes
from tests.personas import Firm
from tests.reports.signed_visits import GOOD, signed_visit
from tests.visits.working import SUBSTANCES, decided, inspect, planned, product, read, ready, started

CLOUDED = {**GOOD, "free_chlorine_mg_l": "1.2", "total_chlorine_mg_l": "1.6", "ph": "8.1"}
NewPage = Callable[..., Page]


def not_begun(firm: Firm) -> Visit:
    return planned(firm, instructions="Bring the long brush.")


def treated(firm: Firm) -> Visit:
    """The first step done a moment ago, so that a wait runs."""
    for name in SUBSTANCES:
        BatchFactory(product=product(firm, name))
    visit = decided(firm, read(firm, inspect(firm, started(firm)), CLOUDED))
    first = next(step for step in standing_steps(visit) if step.action == "add")
    do_step(step=first, by=firm.technician, expected_revision=None, batch=first.product.batches.get())
    return visit


def unsafe(firm: Firm) -> Visit:
    """Nothing to be done with chemistry: the suction cover is broken."""
    return decided(firm, read(firm, inspect(firm, started(firm), suction_cover="One is loose"), GOOD))


def fit_from(firm: Firm) -> Visit:
    return signed_visit(firm, at=timezone.now(), verdict=Verdict.FIT_FROM).visit


def closed(firm: Firm) -> Visit:
    return signed_visit(
        firm,
        at=timezone.now(),
        before=CLOUDED,
        verdict=Verdict.CLOSED_UNTIL_RETEST,
        closure="Free chlorine reads 1.2 mg/L, below 3.",
        retest_by="The caretaker",
        retest_due=timezone.now() + timedelta(hours=3),
        note_to_owner="Keep the cover on.",
    ).visit


@pytest.mark.parametrize("state", [not_begun, started, ready, treated, unsafe, fit_from, closed])
def test_a_visit_is_accessible_at_each_point(
    state: Callable[[Firm], Visit], new_page: NewPage, in_firm: Firm, enter: Any, transactional_db: None
) -> None:
    visit = state(in_firm)
    page = new_page("phone")
    enter(page, in_firm.technician)
    page.goto(f"/visits/{visit.pk}/")
    page.evaluate("document.querySelectorAll('main details').forEach((fold) => { fold.open = true; })")

    assert complaints(page, wet_hands=True) == []


def test_a_visit_refused_says_why_accessibly(
    new_page: NewPage, in_firm: Firm, enter: Any, transactional_db: None
) -> None:
    visit = started(in_firm)
    page = new_page("phone")
    enter(page, in_firm.technician)
    page.goto(f"/visits/{visit.pk}/")
    page.locator("#id_before-ph-value").fill("7.x")
    page.locator("#id_before-temperature_c-value").fill("900")
    page.get_by_role("button", name="Save only").first.click()
    expect(page.get_by_role("alert").first).to_contain_text("Not saved.")

    assert brief_complaints(page) == []


@pytest.mark.parametrize("role", Role)
def test_a_firm_with_nothing_has_accessible_pages_that_say_what_to_do(
    role: Role, new_page: NewPage, enter: Any, transactional_db: None
) -> None:
    with scopes_disabled():
        person = PersonFactory(organisation=OrganisationFactory(name="New Firm"), roles=[role])
    page = new_page("phone")
    enter(page, person)
    wrong = []
    for name, address in ADDRESSES.items():
        if (
            role not in address.roles
            or address.objects
            or address.fixed
            or name.startswith(("api:", "mfa", "account"))
        ):
            continue
        answer = page.request.get(reverse(name))
        if answer.ok and "text/html" in answer.headers["content-type"]:
            page.goto(reverse(name))
            wrong += [f"{name}: {what}" for what in brief_complaints(page)]

    assert wrong == [], "\n".join(wrong)


def test_the_way_in_is_accessible(new_page: NewPage, transactional_db: None) -> None:
    """With a link that was never sent where an address wants one: the page says that it is gone."""
    page = new_page("phone")
    wrong = []
    for route in routes():
        if not ADDRESSES[route.name].public:
            continue
        arguments = {name: uuid4() if name == "pk" else "neversent" for name in route.arguments}
        path = reverse(route.name, kwargs=arguments)
        answer = page.request.get(path)
        if answer.ok and "text/html" in answer.headers["content-type"]:
            page.goto(path)
            wrong += [f"{route.name}: {what}" for what in complaints(page)]

    assert wrong == [], "\n".join(wrong)


@pytest.mark.parametrize("state", RunState)
def test_work_that_runs_is_accessible(
    state: RunState, new_page: NewPage, in_firm: Firm, enter: Any, transactional_db: None
) -> None:
    run = Run.objects.create(
        organisation=in_firm.organisation,
        task="reports.build_visit_record",
        title="Week of 23 November",
        state=state,
        doing="Roads between the sites",
        progress_done=2,
        progress_total=8,
        error="The file holds no rows.",
        asked_by=in_firm.office,
        finished_at=None if state in (RunState.QUEUED, RunState.RUNNING) else timezone.now(),
    )
    page = new_page("phone")
    enter(page, in_firm.office)
    page.goto(f"/runs/{run.pk}/")

    # Live work replaces its part each second, so its controls are tried on their own below.
    examine = brief_complaints if run.is_live else complaints
    assert examine(page) == []


def test_the_focus_stays_on_stop_while_the_work_goes_on(
    new_page: NewPage, in_firm: Firm, enter: Any, transactional_db: None
) -> None:
    run = Run.objects.create(
        organisation=in_firm.organisation, task="a", title="Week", state=RunState.RUNNING
    )
    page = new_page("desk")
    enter(page, in_firm.office)
    page.goto(f"/runs/{run.pk}/")
    page.get_by_role("button", name="Stop", exact=True).focus()
    page.locator("#stop-run").evaluate("button => { button.dataset.before = 'yes'; }")

    expect(page.locator("#stop-run:not([data-before])")).to_be_focused()


def test_the_end_of_work_is_said_aloud_once_and_the_figures_between_are_not(
    new_page: NewPage, in_firm: Firm, enter: Any, transactional_db: None
) -> None:
    run = Run.objects.create(
        organisation=in_firm.organisation, task="a", title="Week", state=RunState.RUNNING
    )
    page = new_page("desk")
    enter(page, in_firm.office)
    page.goto(f"/runs/{run.pk}/")
    told = page.get_by_role("status")
    for done in (1, 2):
        with page.expect_response("**/runs/*/"):
            Run.objects.filter(pk=run.pk).update(progress_done=done, progress_total=8)
    assert told.all_inner_texts() == [""]

    Run.objects.filter(pk=run.pk).update(state=RunState.DONE, finished_at=timezone.now())

    expect(told).to_have_text("Done")


def test_no_answer_while_work_runs_is_said(
    new_page: NewPage, in_firm: Firm, enter: Any, transactional_db: None
) -> None:
    run = Run.objects.create(
        organisation=in_firm.organisation, task="a", title="Week", state=RunState.RUNNING
    )
    page = new_page("desk")
    enter(page, in_firm.office)
    page.goto(f"/runs/{run.pk}/")
    page.context.set_offline(True)

    expect(page.get_by_role("alert")).to_contain_text("No answer came.")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_states_stand_out_where_the_machine_forces_its_colours(
    theme: str, new_page: NewPage, in_firm: Firm, enter: Any, transactional_db: None
) -> None:
    closed(in_firm)
    close_spa(spa=in_firm.spa, reason="Glass in the water", by=in_firm.office)
    page = new_page("desk", dark=theme == "dark", forced_colors="active")
    enter(page, in_firm.owner)
    page.goto(f"/visits/spas/{in_firm.spa.pk}/history/")
    state = page.locator(".fitness-closed").first

    expect(state).to_contain_text("■ Closed")
    style = state.evaluate(
        "one => { const s = getComputedStyle(one); return [s.borderTopStyle, s.color, s.backgroundColor]; }"
    )
    assert style[0] == "solid"
    assert style[1] != style[2]
    # Strokes and fills of a drawing are not forced by the machine: ours follow its colours.
    for drawn in page.locator(".plot .stroke-ink").all()[:3]:
        assert drawn.evaluate("one => getComputedStyle(one).stroke") == page.locator("main p").first.evaluate(
            "one => getComputedStyle(one).color"
        )
    assert complaints(page) == []


def test_nothing_moves_for_somebody_who_asked_for_stillness(
    new_page: NewPage, in_firm: Firm, enter: Any, transactional_db: None
) -> None:
    visit = ready(in_firm)
    page = new_page("phone", reduced_motion="reduce")
    enter(page, in_firm.technician)
    page.goto(f"/visits/{visit.pk}/")

    moving = page.evaluate(
        """() => [document.documentElement, ...document.body.querySelectorAll("*")].filter((one) => {
            const style = getComputedStyle(one);
            return style.scrollBehavior !== "auto" || style.animationName !== "none"
                || parseFloat(style.transitionDuration) > 0;
        }).length"""
    )
    assert moving == 0
