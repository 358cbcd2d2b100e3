"""The office's week: the list, planning it, its drafts, comparing and publishing them."""

from collections.abc import Callable
from datetime import date
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.rounds.build_week import ask_week_plan, build_under_way, week_name
from service.rounds.forms_week import BuildForm
from service.rounds.models import WeekPlan
from service.rounds.plan_comparison import compare
from service.rounds.plan_drafts import set_plan_aside, take_plan_up
from service.rounds.publish import foretell_publish, foretell_unpublish, publish_week, unpublish_week
from service.rounds.visible import visible_plans
from service.rounds.week_page import monday_of, week_page
from service.runs.ask import cancel_run
from service.shell.days import today_at
from service.visits.editing import Refused
from service.visits.posted import revision

FIGURE_WORDS = {
    "driving_minutes": ("Driving", "min"),
    "working_minutes": ("Working", "min"),
    "waiting_minutes": ("Waiting", "min"),
    "overtime_minutes": ("Overtime", "min"),
    "kilometres": ("Driven", "km"),
    "visits": ("Visits", ""),
    "rounds": ("Rounds", ""),
    "at_risk": ("At risk", ""),
    "unserved": ("Without a place", ""),
}


@page_for(Action.SEE_FIRM)
@require_safe
def week(request: HttpRequest) -> HttpResponse:
    """The week that today lies in."""
    return _page(request, monday_of(today_at(signed_in(request).organisation)))


@page_for(Action.SEE_FIRM)
@require_safe
def week_of(request: HttpRequest, monday: str) -> HttpResponse:
    """The week that begins on ``monday`` (2026-06-01); another day leads to its week."""
    day = _day(monday)
    if day.weekday():
        return redirect("rounds:week_of", monday_of(day).isoformat())
    return _page(request, day)


@page_for(Action.SEE_FIRM)
@require_safe
def plan(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One plan of a week, be it a draft, published or put aside."""
    found = plan_or_404(signed_in(request), pk)
    return _page(request, found.monday, found)


def _page(request: HttpRequest, monday: date, chosen: WeekPlan | None = None) -> HttpResponse:
    page = week_page(signed_in(request), monday, chosen)
    context = {"page": page, "plan": page.plan, "lines": page.lines, "form": BuildForm()}
    return render(request, "rounds/week.html", context)


@page_for(Action.PLAN_VISITS)
@require_POST
def build(request: HttpRequest, monday: str) -> HttpResponse:
    """Ask for a plan of the week."""
    day, form = _day(monday), BuildForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Choose how long to search from the list.")
    else:
        try:
            ask_week_plan(day, signed_in(request), seconds=form.cleaned_data["seconds"])
        except Refused as refused:
            messages.error(request, str(refused))
    return redirect("rounds:week_of", day.isoformat())


@page_for(Action.SEE_FIRM)
@require_safe
@never_cache
def progress(request: HttpRequest, monday: str) -> HttpResponse:
    """How far the planning of the week is; once it has ended, the whole page is loaded anew."""
    day, person = _day(monday), signed_in(request)
    run = build_under_way(person.organisation, day)
    if not getattr(request, "htmx", False):
        return redirect("rounds:week_of", day.isoformat())
    if run is None:
        return HttpResponse(headers={"HX-Refresh": "true"})
    context = {"run": run, "monday": day, "may_plan": person.may(Action.PLAN_VISITS)}
    return render(request, "rounds/week_progress.html", context)


@page_for(Action.PLAN_VISITS)
@require_POST
def stop(request: HttpRequest, monday: str) -> HttpResponse:
    """Stop the planning of the week; what it has found so far is kept."""
    day, person = _day(monday), signed_in(request)
    run = build_under_way(person.organisation, day)
    if run is not None:
        cancel_run(run=run, by=person)
    return redirect("rounds:week_of", day.isoformat())


@page_for(Action.SEE_FIRM)
@require_safe
def plan_compare(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A plan beside another of its week (?with=): figures, and visits that are elsewhere."""
    person = signed_in(request)
    found = plan_or_404(person, pk)
    others = list(visible_plans(person).filter(monday=found.monday).exclude(pk=found.pk)[:20])
    wanted = request.GET.get("with", "")
    other = next((one for one in others if str(one.pk) == wanted), others[0] if others else None)
    change = compare(found, other) if other else None
    figures = [
        (words, unit, figure)
        for figure in (change.figures if change else ())
        for words, unit in (FIGURE_WORDS.get(figure.name, ("", "")),)
        if words
    ]
    context = {"plan": found, "other": other, "others": others, "change": change, "figures": figures}
    return render(request, "rounds/plan_compare.html", context)


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def publish(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Say what publishing would do to people's days, and do it."""
    found = plan_or_404(signed_in(request), pk)
    if request.method == "POST":

        def act(person: Person) -> str:
            done = publish_week(plan=found, by=person, expected_revision=revision(request))
            return (
                f"The {week_name(found.monday)} is on people's days: {done.planned} visits new, "
                f"{done.changed} changed, {done.cancelled} cancelled, {done.kept} as they were."
            )

        return _acted(request, found, act)
    context = {"plan": found, "foretold": foretell_publish(found)}
    return render(request, "rounds/plan_publish.html", context)


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def unpublish(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Say what taking the plan off people's days would do, and do it."""
    found = plan_or_404(signed_in(request), pk)
    if request.method == "POST":

        def act(person: Person) -> str:
            gone = unpublish_week(plan=found, by=person, expected_revision=revision(request))
            return (
                f"The {week_name(found.monday)} is a draft again: {gone} visits were taken off people's days."
            )

        return _acted(request, found, act)
    context = {"plan": found, "gone": foretell_unpublish(found)}
    return render(request, "rounds/plan_unpublish.html", context)


@page_for(Action.PLAN_VISITS)
@require_POST
def set_aside(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Put a draft aside."""
    found = plan_or_404(signed_in(request), pk)

    def act(person: Person) -> str:
        set_plan_aside(plan=found, by=person, expected_revision=revision(request))
        return "The draft is put aside. It stays in the list of this week's plans."

    return _acted(request, found, act, back=reverse("rounds:week_of", args=[found.monday.isoformat()]))


@page_for(Action.PLAN_VISITS)
@require_POST
def take_up(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Take up a plan that was put aside."""
    found = plan_or_404(signed_in(request), pk)

    def act(person: Person) -> str:
        take_plan_up(plan=found, by=person, expected_revision=revision(request))
        return "The plan is a draft again."

    return _acted(request, found, act)


def plan_or_404(person: Person, pk: UUID) -> WeekPlan:
    """A plan that the person may see. Raises Http404."""
    rows = visible_plans(person).select_related("organisation", "made_by", "published_by")
    return get_object_or_404(rows, pk=pk)


def _acted(
    request: HttpRequest, found: WeekPlan, act: Callable[[Person], str], *, back: str = ""
) -> HttpResponse:
    """Do it and say so, or say why not; back to the plan either way."""
    try:
        messages.success(request, act(signed_in(request)))
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect("rounds:plan", found.pk)
    return redirect(back or reverse("rounds:plan", args=[found.pk]))


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as unknown:
        raise Http404 from unknown
