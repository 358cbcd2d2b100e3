"""The week meets the day: somebody is off, somebody calls."""

from datetime import timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.rounds.forms_week import OffForm, UrgentForm
from service.rounds.models import WeekPlan
from service.rounds.problem_of_week import DAYS
from service.rounds.replan import UrgentCall, UrgentSlot, take_slot, technician_off, urgent_call
from service.rounds.roads.times import RoadsError
from service.rounds.views_week import plan_or_404
from service.shell.days import today_at
from service.sites.forms import done_or_told
from service.sites.models import Spa
from service.sites.visible import visible_spas
from service.visits.editing import Refused
from service.visits.forms_plan import who_carries_out_visits
from service.visits.posted import revision

MOST_SPAS = 20


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def off(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Somebody does not come: note the days off, and have the published weeks planned without them."""
    person = signed_in(request)
    plan = plan_or_404(person, pk)
    first = max(today_at(person.organisation), plan.monday)
    initial = {"first_day": first, "last_day": first, "person": request.GET.get("person")}
    form = OffForm(request.POST or None, by=person, initial=initial)
    if form.is_valid():
        try:
            runs = done_or_told(form, lambda: technician_off(by=person, **form.cleaned_data))
        except Refused as refused:
            form.add_error(None, str(refused))
        else:
            if runs is not None:
                _say_off(request, form.cleaned_data["person"], len(runs))
                return redirect("rounds:week_of", plan.monday.isoformat())
    return render(request, "rounds/off.html", {"plan": plan, "form": form})


def _say_off(request: HttpRequest, who: Person, runs: int) -> None:
    if not runs:
        messages.success(
            request, f"The days off of {who.name} are noted. No published week is touched by them."
        )
        return
    weeks = "week is" if runs == 1 else f"{runs} weeks are"
    messages.success(
        request,
        f"The days off of {who.name} are noted and the {weeks} being planned without them. "
        "It becomes a draft: people's days change when you publish it.",
    )


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def urgent(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Somebody calls: find the spa, say how long and when, read three places, take one."""
    person = signed_in(request)
    plan = plan_or_404(person, pk)
    given = request.POST if request.method == "POST" else request.GET
    spa = _spa(person, given.get("spa", ""))
    context: dict[str, Any] = {"plan": plan, "spa": spa, "q": request.GET.get("q", "")}
    if spa is None:
        context["found"] = _found(person, context["q"])
        return render(request, "rounds/urgent.html", context)
    form = UrgentForm(given if "minutes" in given else None, plan=plan, initial=_from_today(plan))
    context["form"] = form
    if form.is_valid():
        try:
            if request.method == "POST":
                return _taken(request, plan, spa, form)
            call = urgent_call(
                spa=spa, plan=plan, by=person, minutes=int(form.cleaned_data["minutes"]), window=form.window
            )
            context |= {"call": call, "slots": [(slot, (slot.day - plan.monday).days) for slot in call.slots]}
        except (Refused, RoadsError) as refused:
            form.add_error(None, str(refused))
    return render(request, "rounds/urgent.html", context)


def _taken(request: HttpRequest, plan: WeekPlan, spa: Spa, form: UrgentForm) -> HttpResponse:
    person, given = signed_in(request), form.cleaned_data
    technician = get_object_or_404(
        who_carries_out_visits(person), pk=_key(request.POST.get("technician", ""))
    )
    offset, position = (_number(request.POST.get(name, "")) for name in ("day", "position"))
    day = plan.monday + timedelta(days=min(offset, DAYS - 1))
    slot = UrgentSlot(technician, day, position, "", 0, 0, "")
    planned = take_slot(
        call=UrgentCall(spa, int(given["minutes"]), (), ""),
        slot=slot,
        plan=plan,
        window=form.window,
        by=person,
        expected_revision=revision(request),
    )
    where = "on the day of" if plan.is_published else "in the draft for"
    messages.success(request, f"{planned.spa.name} is {where} {technician.name}, {planned.day:%A}.")
    return redirect("rounds:plan", plan.pk)


def _spa(person: Person, key: str) -> Spa | None:
    found = _key(key)
    if found is None:
        return None
    spas = visible_spas(person).select_related("site__client")
    return get_object_or_404(spas.defer("site__access_code", "site__access_notes"), pk=found)


def _found(person: Person, words: str) -> list[Spa]:
    spas = visible_spas(person).filter(
        archived_at=None, site__archived_at=None, site__client__archived_at=None
    )
    for word in words.split()[:5]:
        spas = spas.filter(
            Q(name__icontains=word) | Q(site__name__icontains=word) | Q(site__client__name__icontains=word)
        )
    spas = spas.select_related("site__client").defer("site__access_code", "site__access_notes")
    return list(spas.order_by("site__name", "name", "pk")[:MOST_SPAS])


def _from_today(plan: WeekPlan) -> dict[str, str]:
    first = max(today_at(plan.organisation), plan.monday)
    return {"first_day": first.isoformat(), "last_day": (plan.monday + timedelta(days=DAYS - 1)).isoformat()}


def _key(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


def _number(text: str) -> int:
    return int(text) if text.isdecimal() and len(text) < 4 else 0
