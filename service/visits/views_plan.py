"""The office's plan: visits day by day, planned, changed, cancelled, handed over."""

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.db.models import F, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.shell.days import today_at
from service.sites.forms import done_or_told
from service.sites.listing import containing
from service.sites.models import Spa
from service.sites.visible import visible_spas
from service.visits.clock import zone_of
from service.visits.closures import open_closure, retest_asked
from service.visits.editing import Changed, Refused
from service.visits.forms_plan import (
    PLAN_FIELDS,
    GiveToForm,
    PlanForm,
    PlannedFilter,
    ReasonForm,
    StopForm,
    who_carries_out_visits,
)
from service.visits.models import Visit, VisitKind, VisitState
from service.visits.open import hand_over
from service.visits.plan import cancel_visit, change_plan
from service.visits.plan_stop import plan_stop
from service.visits.posted import revision
from service.visits.visible import visible_visits

VISITS_PER_PAGE = 60
SPAS_OFFERED = 30
ABOVE = ("spa__site__client", "spa__organisation", "organisation", "technician")
SEALED = ("spa__site__access_code", "spa__site__access_notes")
MOVABLE = (VisitState.PLANNED, VisitState.PART_DONE, VisitState.ON_SITE)


@page_for(Action.SEE_FIRM)
@require_safe
def planned(request: HttpRequest) -> HttpResponse:
    """Visits from a day on, day by day."""
    person = signed_in(request)
    form = PlannedFilter(request.GET, people=who_carries_out_visits(person))
    form.is_valid()
    asked = form.cleaned_data
    start = asked.get("start") or today_at(person.organisation)
    rows = found_visits(person, asked)
    context = {
        "form": form,
        "page": _page(rows, request),
        "start": start,
        "filtered": any(asked.get(name) for name in ("technician", "state")),
        "may_plan": person.may(Action.PLAN_VISITS),
        "movable": MOVABLE,
    }
    return render(request, "visits/planned.html", context)


def found_visits(person: Person, asked: dict[str, Any]) -> QuerySet[Visit]:
    """Every visit, on all pages, that what ``PlannedFilter`` read leaves; from today on unless it says."""
    start = asked.get("start") or today_at(person.organisation)
    return _narrowed(visible_visits(person).filter(planned_on__gte=start), asked)


def _narrowed(rows: QuerySet[Visit], asked: dict[str, Any]) -> QuerySet[Visit]:
    if state := asked.get("state"):
        rows = rows.filter(state=state)
    if technician := asked.get("technician"):
        rows = rows.filter(technician=None if technician == "nobody" else technician)
    return rows


def _page(rows: QuerySet[Visit], request: HttpRequest) -> Page[Visit]:
    ordered = rows.select_related(*ABOVE).defer(*SEALED)
    unassigned_first = F("technician__name").asc(nulls_first=True)
    ordered = ordered.order_by("planned_on", unassigned_first, "technician", "sequence", "window_from", "pk")
    return Paginator(ordered, VISITS_PER_PAGE).get_page(request.GET.get("page"))


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def plan_new(request: HttpRequest) -> HttpResponse:
    """Plan visits to spas of one site; ``?spa=`` names the first of them."""
    person = signed_in(request)
    spa = _asked_spa(request, person)
    if spa is None:
        return _choose_spa(request, person)
    form = StopForm(
        request.POST or None,
        by=person,
        spas=_in_use(person).filter(site=spa.site_id),
        initial={"spas": [spa.pk], **_proposed(spa, person, request.GET.get("kind", ""))},
    )
    if form.is_valid() and (made := _done(form, lambda: _planned(form, person))):
        spas = ", ".join(visit.spa.name for visit in made)
        messages.success(request, f"Planned for {made[0].planned_on:%A} {made[0].planned_on.day}: {spas}.")
        return redirect(f"{reverse('visits:planned')}?start={made[0].planned_on.isoformat()}")
    return _form_page(request, form, heading=_heading(spa, form), submit="Plan the visit")


def _heading(spa: Spa, form: StopForm) -> str:
    what = "retest" if form["kind"].value() == VisitKind.RETEST else "visit"
    return f"Plan a {what} at {spa.site}" if what == "retest" else f"Plan a visit to {spa.site}"


def _proposed(spa: Spa, person: Person, kind: str) -> dict[str, Any]:
    """What the form starts from: today; for a retest, the day and the time by which it was asked for."""
    today = today_at(person.organisation)
    if kind != VisitKind.RETEST:
        return {"planned_on": today}
    asked, closure = retest_asked(spa), open_closure(spa)
    instructions = f"Test again. Closed: {closure.reason}" if closure else ""
    retest = {"kind": kind, "planned_on": today, "instructions": instructions}
    if asked is None or asked <= timezone.now():
        return retest
    local = asked.astimezone(zone_of(person.organisation))
    return retest | {"planned_on": local.date(), "window_to": local.time().replace(second=0, microsecond=0)}


def _planned(form: StopForm, person: Person) -> list[Visit]:
    return plan_stop(spas=list(form.cleaned_data["spas"]), by=person, **form.plan())


def _in_use(person: Person) -> QuerySet[Spa]:
    used = visible_spas(person).filter(
        archived_at=None, site__archived_at=None, site__client__archived_at=None
    )
    return used.select_related("site__client__organisation", "organisation").defer(
        "site__access_code", "site__access_notes"
    )


def _asked_spa(request: HttpRequest, person: Person) -> Spa | None:
    asked = request.GET.get("spa", "")
    if not asked:
        return None
    try:
        key = UUID(asked)
    except ValueError:
        return None
    return get_object_or_404(_in_use(person), pk=key)


def _choose_spa(request: HttpRequest, person: Person) -> HttpResponse:
    words = request.GET.get("q", "")[:100]
    fields = ("name", "reference", "site__name", "site__address", "site__client__name")
    found = _in_use(person).filter(containing(words, fields)).order_by("site__name", "name", "pk")
    listed = list(found[: SPAS_OFFERED + 1])
    context = {"words": words, "spas": listed[:SPAS_OFFERED], "more": len(listed) > SPAS_OFFERED}
    return render(request, "visits/plan_choose.html", context)


def _visit(request: HttpRequest, pk: UUID) -> Visit:
    rows = visible_visits(signed_in(request)).select_related(*ABOVE).defer(*SEALED)
    return get_object_or_404(rows, pk=pk)


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def plan_edit(request: HttpRequest, pk: UUID) -> HttpResponse:
    row, person = _visit(request, pk), signed_in(request)
    stands = {name: getattr(row, name) for name in PLAN_FIELDS}
    form = PlanForm(request.POST or None, by=person, initial=stands)
    context: dict[str, Any] = {"visit": row, "heading": f"Change the visit to {row.spa}", "submit": "Save"}
    if form.is_valid():
        try:
            saved = _done(
                form,
                lambda: change_plan(visit=row, by=person, expected_revision=_seen(request), **form.plan()),
            )
        except Changed as changed:
            return _form_page(request, form, changed=changed, now=differing(form, row), **context)
        if saved:
            messages.success(request, "The plan is changed.")
            return _to_day(saved)
    return _form_page(request, form, **context)


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def plan_cancel(request: HttpRequest, pk: UUID) -> HttpResponse:
    row, person = _visit(request, pk), signed_in(request)
    form = ReasonForm(request.POST or None)
    context: dict[str, Any] = {
        "visit": row,
        "heading": f"Cancel the visit to {row.spa}?",
        "lead": "It stays in the list as cancelled, with the reason.",
        "submit": "Cancel the visit",
    }
    if form.is_valid():
        try:
            cancelled = _done(
                form,
                lambda: cancel_visit(
                    visit=row,
                    reason=form.cleaned_data["reason"],
                    by=person,
                    expected_revision=_seen(request),
                ),
            )
        except Changed as changed:
            return _form_page(request, form, changed=changed, **context)
        if cancelled:
            messages.success(request, f"The visit to {row.spa} is cancelled.")
            return _to_day(cancelled)
    return _form_page(request, form, **context)


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def plan_hand_over(request: HttpRequest, pk: UUID) -> HttpResponse:
    row, person = _visit(request, pk), signed_in(request)
    form = GiveToForm(request.POST or None, visit=row, by=person)
    context: dict[str, Any] = {
        "visit": row,
        "heading": f"Hand the visit to {row.spa} to somebody else",
        "lead": "It ends here and is planned again, on the same day, for the other person.",
        "submit": "Hand it over",
    }
    if form.is_valid():
        given = form.cleaned_data
        try:
            new = _done(
                form,
                lambda: hand_over(
                    visit=row,
                    to=given["to"],
                    reason=given["reason"],
                    by=person,
                    expected_revision=_seen(request),
                ),
            )
        except Changed as changed:
            return _form_page(request, form, changed=changed, **context)
        if new:
            messages.success(request, f"{row.spa} is handed to {given['to'].name}.")
            return _to_day(new)
    return _form_page(request, form, **context)


def _seen(request: HttpRequest) -> int:
    """The revision that the page showed; one that never was when it did not say."""
    return -1 if (seen := revision(request)) is None else seen


def _done(form: forms.Form, act: Any) -> Any:
    """What ``act`` returns; None when it refuses, after saying why on the form."""
    try:
        return done_or_told(form, act)
    except Refused as refused:
        form.add_error(None, str(refused))
        return None


def differing(form: PlanForm, row: Visit) -> list[tuple[str, str]]:
    """What stands in the plan now where the form says otherwise: (label, value in words)."""
    typed = form.plan()
    return [
        (str(form.fields[name].label), _in_words(row, name))
        for name in PLAN_FIELDS
        if typed[name] != getattr(row, name)
    ]


def _in_words(row: Visit, name: str) -> str:
    if name == "kind":
        return row.get_kind_display()
    value = getattr(row, name)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name == "planned_on":
        return f"{value:%A} {value.day} {value:%B %Y}"
    if hasattr(value, "strftime"):
        return f"{value:%H:%M}"
    return "nothing" if value in (None, "") else str(value)


def _to_day(visit: Visit) -> HttpResponse:
    return redirect(f"{reverse('visits:planned')}?start={visit.planned_on.isoformat()}")


def _form_page(request: HttpRequest, form: forms.Form, **context: Any) -> HttpResponse:
    visit, changed = context.get("visit"), context.get("changed")
    context["form"] = form
    if visit is not None:
        # After telling of a change, the next save is measured against what was told.
        seen = changed.revision if changed else revision(request)
        context["revision"] = visit.revision if seen is None else seen
    return render(request, "visits/plan_form.html", context)
