"""The technician's day and its stops."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_http_methods, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.chemistry.guidelines.clocks import DueTest
from service.shell.days import today_at
from service.sites.visible import visible_spas
from service.visits.due import DueJob, due_jobs_of
from service.visits.editing import Refused
from service.visits.fitness import Fitness, fitness_with, open_closures
from service.visits.forms_work import CallOutForm, tell
from service.visits.models import Closure, Defect, TaskKind, Visit, VisitState
from service.visits.plan import plan_visit
from service.visits.step_words import labels
from service.visits.stops import stops_of_day
from service.visits.visible import visible_visits
from service.visits.visit_page import LOADED
from service.visits.water_tests import due_water_tests_of


@dataclass(frozen=True)
class SpaAtStop:
    """One visit of a stop: the spa's state, what is due with its reason, what keeps it closed.

    due  Sentences: "Test: pH (document, clause)", "Rinse the filter: last done 9 days ago (…)".
    """

    visit: Visit
    fitness: Fitness
    due: list[str]
    defects: list[Defect]
    closure: Closure | None


@page_for(Action.CARRY_OUT_VISITS)
@require_safe
@cache_control(private=True, no_store=True)
def today(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    day = today_at(person.organisation)
    stops = stops_of_day(person, day)
    following = next((stop for stop in stops if not stop.is_done), None)
    context = {
        "day": day,
        "stops": stops,
        "left": sum(not stop.is_done for stop in stops),
        "next": following,
        "site": following and following.site,
        "gate": following is not None and person.may(Action.SEE_ACCESS_CODES),
        "first_window": next((stop.window_from for stop in stops if stop.window_from), None),
    }
    return render(request, "visits/today.html", context)


@page_for(Action.CARRY_OUT_VISITS)
@require_safe
@cache_control(private=True, no_store=True)
def stop(request: HttpRequest, pk: UUID, day: str) -> HttpResponse:
    person, on = signed_in(request), _day(day)
    visits = list(
        visible_visits(person)
        .filter(spa__site=pk, planned_on=on)
        .exclude(state=VisitState.CANCELLED)
        .select_related(*LOADED)
    )
    if not visits:
        raise Http404
    context = {
        "site": visits[0].spa.site,
        "day": on,
        "spas": _spas(visits),
        "gate": has_the_gate(person, visits, on),
    }
    return render(request, "visits/stop.html", context)


def has_the_gate(person: Person, visits: Iterable[Visit], day: date) -> bool:
    """Whether the gate's code may be shown: to today's assignee, today."""
    mine = any(visit.technician_id == person.pk and visit.state != VisitState.HANDED_OVER for visit in visits)
    return mine and day == today_at(person.organisation) and person.may(Action.SEE_ACCESS_CODES)


@page_for(Action.CARRY_OUT_VISITS)
@require_http_methods(["GET", "POST"])
def call_out(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Put a call-out or a retest to a spa on one's own day, today."""
    person = signed_in(request)
    spa = get_object_or_404(
        visible_spas(person).select_related("site__client").defer("site__access_code", "site__access_notes"),
        pk=pk,
    )
    form = CallOutForm(request.POST or None)
    if form.is_valid():
        try:
            planned = plan_visit(
                spa=spa,
                planned_on=today_at(person.organisation),
                technician=person,
                by=person,
                **form.cleaned_data,
            )
        except ValidationError as wrong:
            tell(form, wrong)
        except Refused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"{spa} is on your day.")
            return redirect("visits:visit", planned.pk)
    return render(request, "visits/call_out.html", {"form": form, "spa": spa, "site": spa.site})


def _day(given: str) -> date:
    try:
        return date.fromisoformat(given)
    except ValueError as unknown:
        raise Http404 from unknown


def _spas(visits: list[Visit]) -> list[SpaAtStop]:
    now = timezone.now()
    spas = {visit.spa_id: visit.spa for visit in visits}
    closures = open_closures(spas.values())
    fitness = fitness_with(spas.values(), closures, now)
    defects: dict[Any, list[Defect]] = {}
    for defect in Defect.objects.filter(spa__in=spas, closed_at=None):
        defects.setdefault(defect.spa_id, []).append(defect)
    due = _due([visit for visit in visits if visit.is_open], now)
    return [
        SpaAtStop(
            visit,
            fitness[visit.spa_id],
            due.get(visit.pk, []),
            defects.get(visit.spa_id, []),
            closures.get(visit.spa_id),
        )
        for visit in visits
    ]


def _due(visits: list[Visit], now: datetime) -> dict[UUID, list[str]]:
    """What is due at each of the visits of one day, in words, by the visit's key."""
    if not visits:
        return {}
    spas = {visit.spa_id: visit.spa for visit in visits}.values()
    tests, jobs = due_water_tests_of(spas, now), due_jobs_of(spas, visits[0].planned_on)
    return {
        visit.pk: [
            *(_test(test) for test in tests[visit.spa_id] if test.is_overdue),
            *(_job(job) for job in jobs[visit.spa_id]),
        ]
        for visit in visits
    }


def _test(test: DueTest) -> str:
    return f"Test {labels(test.parameters)}: {test.sum.lower()} ({test.citation.short})"


def _job(job: DueJob) -> str:
    unverified = f", {job.mark}" if job.mark else ""
    return f"{TaskKind(job.kind).label}: {job.why} ({job.source}{unverified})"
