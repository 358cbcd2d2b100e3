"""Changing many rows of a list: what, to what, a summary, done. Works without a script."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from accounts.access import page_for, require, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.office.bulk import MOST_ROWS, change_rows, look, the_change
from service.office.bulk_changes import CHANGES, MAY_CHANGE
from service.office.change import Change
from service.rounds.views_agreements import found_agreements
from service.rounds.visible import visible_agreements
from service.sites.listing import Filters, found_by
from service.sites.views.clients import FILTERS as CLIENT_FILTERS
from service.sites.views.sites import FILTERS as SITE_FILTERS
from service.sites.views.spas import FILTERS as SPA_FILTERS
from service.sites.visible import visible_clients, visible_sites, visible_spas
from service.visits.forms_plan import PlannedFilter, who_carries_out_visits
from service.visits.views_plan import found_visits
from service.visits.visible import visible_visits

LISTS = {
    "clients": "sites:clients",
    "sites": "sites:sites",
    "spas": "sites:spas",
    "visits": "visits:planned",
    "agreements": "rounds:agreements",
}
FILTERS: Mapping[str, Filters] = {"clients": CLIENT_FILTERS, "sites": SITE_FILTERS, "spas": SPA_FILTERS}
SKIPPED_SHOWN = 20


@page_for(Action.EDIT_SITES, Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, kind: str) -> HttpResponse:
    """The rows stand in the address: ``row`` keys, or ``all`` with the filters of the list."""
    person = signed_in(request)
    if kind not in CHANGES:
        raise Http404
    require(person, MAY_CHANGE[kind])
    rows = list(_chosen(kind, person, request.GET)[: MOST_ROWS + 1])
    context: dict[str, Any] = {"kind": kind, "rows": rows, "count": len(rows), "most": MOST_ROWS}
    context |= {"back": reverse(LISTS[kind]), "too_many": len(rows) > MOST_ROWS, "changes": CHANGES[kind]}
    chosen = the_change(kind, request.GET.get("change", ""))
    if chosen is None or not rows or context["too_many"]:
        return render(request, "office/change_what.html", context)
    return _change(request, kind, chosen, rows, context)


def _change(
    request: HttpRequest, kind: str, chosen: Change, rows: list[Any], context: dict[str, Any]
) -> HttpResponse:
    person = signed_in(request)
    form = _form(chosen, person, request.POST if request.method == "POST" else None)
    context |= {"change": chosen, "form": form}
    if not form.is_valid():
        return render(request, "office/change_to.html", context)
    asked: dict[str, Any] = {"kind": kind, "change": chosen, "rows": rows, "by": person}
    asked["value"] = form.cleaned_data.get("value")
    if request.POST.get("step") != "do":
        outcome = look(**asked)
        context |= {"outcome": outcome, "skipped": outcome.skipped[:SKIPPED_SHOWN]}
        context["values"] = request.POST.getlist("value")
        return render(request, "office/change_summary.html", context)
    outcome = change_rows(**asked)
    skipped = f" {len(outcome.skipped)} skipped." if outcome.skipped else ""
    messages.success(request, f"{outcome.count} changed: {chosen.label}, {outcome.to}.{skipped}")
    return redirect(LISTS[kind])


def _form(chosen: Change, person: Person, given: QueryDict | None) -> forms.Form:
    fields = {"value": chosen.field(person)} if chosen.field else {}
    form: forms.Form = type("ChangeForm", (forms.Form,), fields)(given)
    return form


def _chosen(kind: str, person: Person, given: QueryDict) -> QuerySet[Any]:
    """The rows that the address names, of those that the person may see, in the list's order."""
    rows = _visible(kind, person)
    if not given.get("all"):
        return rows.filter(pk__in=_keys(given))
    if kind in FILTERS:
        return found_by(rows, given=given, filters=FILTERS[kind])
    if kind == "agreements":
        return rows.filter(pk__in=found_agreements(person, given).order_by().values("pk"))
    form = PlannedFilter(given, people=who_carries_out_visits(person))
    form.is_valid()
    return rows.filter(Q(pk__in=found_visits(person, form.cleaned_data).order_by().values("pk")))


def _visible(kind: str, person: Person) -> QuerySet[Any]:
    if kind == "clients":
        return visible_clients(person).select_related("organisation").order_by("name", "pk")
    if kind == "sites":
        sites = visible_sites(person).select_related("client__organisation")
        return sites.defer("access_code", "access_notes").order_by("name", "pk")
    if kind == "spas":
        spas = visible_spas(person).select_related("site__client__organisation", "organisation")
        return spas.defer("site__access_code", "site__access_notes").order_by("name", "pk")
    if kind == "agreements":
        agreements = visible_agreements(person).select_related(
            "spa__site__client", "organisation", "preferred"
        )
        agreements = agreements.defer("spa__site__access_code", "spa__site__access_notes")
        return agreements.prefetch_related("not_with").order_by("spa__name", "pk")
    visits = visible_visits(person).select_related("spa__site__client", "organisation", "technician")
    return visits.defer("spa__site__access_code", "spa__site__access_notes").order_by("planned_on", "pk")


def _keys(given: QueryDict) -> list[UUID]:
    keys = []
    for text in given.getlist("row")[: MOST_ROWS + 1]:
        try:
            keys.append(UUID(text))
        except ValueError:
            continue
    return keys
