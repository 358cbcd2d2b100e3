"""Moving visits of a plan by hand: the grid of days and people, and each visit's own page."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.rounds.forms_week import MoveForm, week_days
from service.rounds.models import PlannedVisit, PlanState, WeekPlan
from service.rounds.move_effect import MoveEffect, preview_move
from service.rounds.moves import move_visit, pin, unassign, unpin
from service.rounds.plan_editing import PlanChanged
from service.rounds.plan_values import day_name
from service.rounds.problem_of_week import DAYS
from service.rounds.roster import shifts_in_week
from service.rounds.views_week import plan_or_404
from service.rounds.visible import visible_planned_visits
from service.rounds.week_lines import rows_of
from service.shell.days import today_at
from service.visits.editing import Refused
from service.visits.posted import revision


@dataclass(frozen=True)
class Cell:
    """One person's day in the grid."""

    day: date
    works: bool
    is_over: bool
    visits: tuple[PlannedVisit, ...]


@dataclass(frozen=True)
class GridRow:
    """One person's week."""

    technician: Person
    cells: tuple[Cell, ...]


@page_for(Action.PLAN_VISITS)
@require_safe
def grid(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The plan as days × people, for moving: from today on, or with past=1 the whole week."""
    plan = plan_or_404(signed_in(request), pk)
    today = today_at(plan.organisation)
    to_come = [day for day in week_days(plan) if day >= today]
    days = to_come if to_come and request.GET.get("past") != "1" else week_days(plan)
    context = {
        "plan": plan,
        "days": days,
        "rows": _grid(plan, days, today),
        "days_over": DAYS - len(to_come) if to_come else 0,
        "shows_past": len(days) > len(to_come) > 0,
        "left_out": rows_of(plan).filter(day=None),
        "may_change": plan.state != PlanState.SET_ASIDE,
    }
    return render(request, "rounds/week_grid.html", context)


def _grid(plan: WeekPlan, days: Sequence[date], today: date) -> list[GridRow]:
    shifts, _ = shifts_in_week(plan.organisation, plan.monday)
    works = {(shift.technician.pk, shift.day) for shift in shifts}
    people = {shift.technician.pk: shift.technician for shift in shifts}
    cells: dict[tuple[Any, Any], list[PlannedVisit]] = {}
    for row in rows_of(plan).filter(day__isnull=False):
        assert row.technician is not None
        people.setdefault(row.technician.pk, row.technician)
        cells.setdefault((row.technician_id, row.day), []).append(row)
    return [
        GridRow(
            person,
            tuple(
                Cell(day, (key, day) in works, day < today, tuple(cells.get((key, day), ()))) for day in days
            ),
        )
        for key, person in sorted(people.items(), key=lambda item: item[1].name)
    ]


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def move(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One visit: choose where it goes, read what that does, and do it.

    GET with technician and day in the address tells the effect; for the grid's script only that part.
    """
    person = signed_in(request)
    row = planned_or_404(person, pk)
    typed = request.POST if request.method == "POST" else request.GET if "day" in request.GET else None
    form = MoveForm(typed, plan=row.plan, by=person, initial=_where(row))
    page = _MovePage(request, row, form)
    if not form.is_valid():
        return page.shown()
    given, position = form.cleaned_data, form.position
    if request.method == "POST":
        return page.done(
            lambda: move_visit(
                planned=row,
                technician=given["technician"],
                day=given["day"],
                position=position,
                by=person,
                expected_revision=revision(request),
            ),
            f"{row.spa.name} is on the round of {given['technician'].name} on {day_name(given['day'])}.",
        )
    return page.previewed(given["technician"], given["day"], position)


class _MovePage:
    """The page of one visit's move, with whatever has to be told on it."""

    def __init__(self, request: HttpRequest, row: PlannedVisit, form: MoveForm) -> None:
        self.request, self.row, self.form = request, row, form
        self.context: dict[str, Any] = {
            "row": row,
            "plan": row.plan,
            "form": form,
            "revision": row.plan.revision,
        }

    def shown(self, **more: Any) -> HttpResponse:
        part = bool(getattr(self.request, "htmx", False))
        template = "rounds/move_effect.html" if part else "rounds/move.html"
        self.context["part"] = part
        return render(self.request, template, self.context | more)

    def previewed(self, technician: Person, day: date, position: int | None) -> HttpResponse:
        try:
            effect = preview_move(self.row, technician, day, position)
        except Refused as refused:
            return self.shown(refused=str(refused))
        return self.shown(effect=effect, technician=technician, day=day)

    def done(self, act: Callable[[], MoveEffect | None], said: str) -> HttpResponse:
        """Do it and go back to the grid; or say who was there before, with the effect as it is now."""
        try:
            act()
        except PlanChanged as changed:
            self.row.plan.refresh_from_db()
            self.row.refresh_from_db()
            self.context |= {"changed": changed, "revision": changed.revision}
            given = self.form.cleaned_data
            return self.previewed(given["technician"], given["day"], self.form.position)
        except Refused as refused:
            return self.shown(refused=str(refused))
        messages.success(self.request, said)
        return redirect(f"{reverse('rounds:grid', args=[self.row.plan_id])}#visit-{self.row.pk}")


@page_for(Action.PLAN_VISITS)
@require_POST
def set_pin(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Fix the visit to its person and day, or let it go again (pinned=1, pinned=0)."""
    row = planned_or_404(signed_in(request), pk)
    wanted = request.POST.get("pinned") == "1"
    act = pin if wanted else unpin
    said = (
        f"{row.spa.name} stays there when the week is planned anew."
        if wanted
        else f"{row.spa.name} may move again."
    )
    return _told(request, row, act, said)


@page_for(Action.PLAN_VISITS)
@require_POST
def take_off(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Take the visit off its round; it waits among those without a place."""
    row = planned_or_404(signed_in(request), pk)
    return _told(request, row, unassign, f"{row.spa.name} is off its round and waits for a place.")


def _told(request: HttpRequest, row: PlannedVisit, act: Callable[..., None], said: str) -> HttpResponse:
    try:
        act(planned=row, by=signed_in(request), expected_revision=revision(request))
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect("rounds:move", row.pk)
    messages.success(request, said)
    return redirect(f"{reverse('rounds:grid', args=[row.plan_id])}#visit-{row.pk}")


def planned_or_404(person: Person, pk: UUID) -> PlannedVisit:
    """A planned visit that the person may see, with plan, spa and place loaded. Raises Http404."""
    rows = visible_planned_visits(person).select_related(
        "plan__organisation", "plan__problem", "spa__site", "technician", "visit", "round", "agreement"
    )
    return get_object_or_404(rows.defer("spa__site__access_code", "spa__site__access_notes"), pk=pk)


def _where(row: PlannedVisit) -> dict[str, Any]:
    if row.day is None:
        return {"day": row.plan.monday.isoformat()}
    return {"technician": row.technician_id, "day": row.day.isoformat(), "place": row.sequence}
