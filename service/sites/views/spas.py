"""Pages of spas: specification and what follows from it. Fitness and history stand on the visits' side."""

from copy import copy
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.chemistry.substances import SUBSTANCES
from service.sites.archive import why_not_in_use
from service.sites.forms import SpaForm, done_or_told, typed
from service.sites.guideline import in_force, why_unsuited
from service.sites.listing import Column, Filters, listing, state_field, words_field
from service.sites.models import ClientKind, Sanitiser, Site, Spa
from service.sites.pages import archive_page, form_page, restore_and_return, trail, url_of
from service.sites.register import add_spa, change_spa
from service.sites.visible import visible_sites, visible_spas

COLUMNS = (
    Column("name", "Spa", ("name", "site__name")),
    Column("reference", "Reference", ("reference", "name")),
    Column("site", "Site", ("site__name", "name")),
    Column("client", "Client", ("site__client__name", "site__name", "name")),
    Column("sanitiser", "Sanitiser", ("sanitiser", "name")),
    Column("volume", "Volume", ("volume_l", "name"), figure=True),
    Column("guideline", "Guideline"),
)


class SpaFilter(forms.Form):
    q = words_field()
    kind = forms.ChoiceField(label="Kind", choices=[("", "Any kind"), *ClientKind.choices], required=False)
    sanitiser = forms.ChoiceField(
        label="Sanitiser", choices=[("", "Any sanitiser"), *Sanitiser.choices], required=False
    )
    state = state_field()


FILTERS = Filters(
    form=SpaFilter,
    words=("name", "reference", "site__name", "site__address", "site__client__name"),
    equal={"kind": "site__client__kind", "sanitiser": "sanitiser"},
    archived=("archived_at", "site__archived_at", "site__client__archived_at"),
)
ABOVE = ("site__client__organisation", "organisation")


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def spas(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    rows = visible_spas(person).select_related(*ABOVE)
    rows = rows.defer("site__access_code", "site__access_notes")
    found = listing(rows, given=request.GET, filters=FILTERS, columns=COLUMNS)
    judged = [(spa, in_force(spa)) for spa in found.page]
    context = {"listing": found, "judged": judged, "may_edit": person.may(Action.EDIT_SITES)}
    return render(request, "sites/spas.html", context)


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def spa(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    row = _spa(person, pk)
    guideline = in_force(row)
    context = {
        "spa": row,
        "trail": trail(row)[:-1],
        "not_in_use": why_not_in_use(row),
        "guideline": guideline,
        "unsuited": why_unsuited(guideline.guideline, row.sanitiser),
        "forbidden": [SUBSTANCES[name].name for name in row.forbidden_substances if name in SUBSTANCES],
        "photos": row.photos.all(),
        "may_edit": person.may(Action.EDIT_SITES),
        "may_plan": person.may(Action.PLAN_VISITS),
        "may_call_out": person.may(Action.CARRY_OUT_VISITS),
        "see_firm": person.may(Action.SEE_FIRM),
    }
    return render(request, "sites/spa.html", context)


def _spa(person: Person, pk: UUID) -> Spa:
    rows = visible_spas(person).select_related(*ABOVE).defer("site__access_code", "site__access_notes")
    return get_object_or_404(rows, pk=pk)


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def spa_new(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A new spa at the site ``pk``."""
    site = get_object_or_404(visible_sites(signed_in(request)).select_related("client__organisation"), pk=pk)
    form = SpaForm(request.POST or None)
    if form.is_valid():
        new = done_or_told(form, lambda: add_spa(site=site, by=signed_in(request), **typed(form)))
        if new:
            messages.success(request, f"{new} is added.")
            return _after_saving(request, new)
    return _spa_form(request, form, site, heading=f"New spa at {site}", submit="Add the spa")


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def spa_edit(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    row = _spa(person, pk)
    form = SpaForm(
        request.POST or None, instance=copy(row), may_change_volume=person.may(Action.CHANGE_VOLUME)
    )
    if form.is_valid():
        changed = done_or_told(form, lambda: change_spa(spa=row, by=person, **typed(form)))
        if changed:
            messages.success(request, f"{changed} is saved.")
            return _after_saving(request, changed)
    return _spa_form(request, form, row, heading=f"Change {row}", submit="Save")


def _spa_form(
    request: HttpRequest, form: SpaForm, above: Site | Spa, *, heading: str, submit: str
) -> HttpResponse:
    return form_page(
        request,
        form,
        heading=heading,
        submit=submit,
        back=url_of(above),
        steps=trail(above),
        groups=SpaForm.groups,
    )


def _after_saving(request: HttpRequest, spa: Spa) -> HttpResponse:
    """To the spa's page; to its guideline when the set in force cannot judge its sanitiser."""
    reason = why_unsuited(in_force(spa).guideline, spa.sanitiser)
    if not reason:
        return redirect(url_of(spa))
    messages.warning(request, reason)
    return redirect(url_of(spa, "guideline"))


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def spa_archive(request: HttpRequest, pk: UUID) -> HttpResponse:
    consequence = (
        "It takes no new visits until you bring it back. "
        "Records stay. Visits already planned stay in the plan: cancel them there."
    )
    return archive_page(request, _spa(signed_in(request), pk), consequence)


@page_for(Action.EDIT_SITES)
@require_POST
def spa_restore(request: HttpRequest, pk: UUID) -> HttpResponse:
    return restore_and_return(request, _spa(signed_in(request), pk))
