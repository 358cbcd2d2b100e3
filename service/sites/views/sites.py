"""Pages of sites: what a technician needs at the gate, the supply water, the spas."""

from copy import copy
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.chemistry.readings import PARAMETERS
from service.shell.days import today_at
from service.sites import supply_water
from service.sites.archive import why_not_in_use
from service.sites.forms import SiteForm, SupplyWaterForm, done_or_told, typed
from service.sites.guideline import in_force
from service.sites.listing import IN_USE_FIRST, Column, Filters, listing, state_field, words_field
from service.sites.models import Client, ClientKind, Site
from service.sites.pages import archive_page, form_page, restore_and_return, trail, url_of
from service.sites.register import add_site, change_site
from service.sites.visible import visible_clients, visible_sites

COLUMNS = (
    Column("name", "Site", ("name",)),
    Column("reference", "Reference", ("reference", "name")),
    Column("client", "Client", ("client__name", "name")),
    Column("address", "Address"),
    Column("spas", "Spas", figure=True),
)


class SiteFilter(forms.Form):
    q = words_field()
    kind = forms.ChoiceField(label="Kind", choices=[("", "Any kind"), *ClientKind.choices], required=False)
    state = state_field()


FILTERS = Filters(
    form=SiteFilter,
    words=("name", "reference", "address", "client__name"),
    equal={"kind": "client__kind"},
    archived=("archived_at", "client__archived_at"),
)


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def sites(request: HttpRequest) -> HttpResponse:
    rows = visible_sites(signed_in(request)).select_related("client").defer("access_code", "access_notes")
    rows = rows.annotate(spa_count=Count("spas", filter=Q(spas__archived_at=None)))
    found = listing(rows, given=request.GET, filters=FILTERS, columns=COLUMNS)
    context = {"listing": found, "may_edit": signed_in(request).may(Action.EDIT_SITES)}
    return render(request, "sites/sites.html", context)


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
@cache_control(private=True, no_store=True)
def site(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Gate codes are drawn for those who keep them up to date; a technician reads them at the stop."""
    person = signed_in(request)
    row = _site(person, pk)
    context = {
        "site": row,
        "trail": trail(row)[:-1],
        "not_in_use": why_not_in_use(row),
        "guideline": in_force(row),
        "spas": row.spas.order_by(IN_USE_FIRST, "name"),
        "supply_water": _named(row),
        "products": row.products_on_site.select_related("product"),
        "may_edit": person.may(Action.EDIT_SITES),
        "may_edit_stock": person.may(Action.EDIT_STOCK),
        "see_codes": person.may(Action.EDIT_SITES) and person.may(Action.SEE_ACCESS_CODES),
        "see_firm": person.may(Action.SEE_FIRM),
    }
    return render(request, "sites/site.html", context)


def _site(person: Person, pk: UUID) -> Site:
    return get_object_or_404(visible_sites(person).select_related("client__organisation"), pk=pk)


def _named(site: Site) -> list[tuple[str, object, str]]:
    """Label, value and unit of each supply-water reading, in the order of a report."""
    known = [(name, site.supply_water[name]) for name in supply_water.PARAMETERS if name in site.supply_water]
    return [(PARAMETERS[name].label, value, PARAMETERS[name].unit) for name, value in known]


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
@cache_control(private=True, no_store=True)
def site_new(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A new site of the client ``pk``."""
    client = get_object_or_404(visible_clients(signed_in(request)), pk=pk)
    form = SiteForm(request.POST or None)
    if form.is_valid():
        new = done_or_told(form, lambda: add_site(client=client, by=signed_in(request), **typed(form)))
        if new:
            messages.success(request, f"{new} is added. Next: its first spa.")
            return redirect(url_of(new))
    return _site_form(request, form, client, heading=f"New site of {client}", submit="Add the site")


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
@cache_control(private=True, no_store=True)
def site_edit(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = _site(signed_in(request), pk)
    form = SiteForm(request.POST or None, instance=copy(row))
    if form.is_valid():
        changed = done_or_told(form, lambda: change_site(site=row, by=signed_in(request), **typed(form)))
        if changed:
            messages.success(request, f"{changed} is saved.")
            return redirect(url_of(changed))
    return _site_form(request, form, row, heading=f"Change {row}", submit="Save")


def _site_form(
    request: HttpRequest, form: SiteForm, above: Client | Site, *, heading: str, submit: str
) -> HttpResponse:
    return form_page(
        request,
        form,
        heading=heading,
        submit=submit,
        back=url_of(above),
        steps=trail(above),
        groups=SiteForm.groups,
    )


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def site_archive(request: HttpRequest, pk: UUID) -> HttpResponse:
    consequence = (
        "Its spas take no new visits until you bring it back. "
        "Records stay. Visits already planned stay in the plan: cancel them there."
    )
    return archive_page(request, _site(signed_in(request), pk), consequence)


@page_for(Action.EDIT_SITES)
@require_POST
def site_restore(request: HttpRequest, pk: UUID) -> HttpResponse:
    return restore_and_return(request, _site(signed_in(request), pk))


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def site_supply_water(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = _site(signed_in(request), pk)
    form = SupplyWaterForm(request.POST or None, site=row)
    if form.is_valid() and done_or_told(form, lambda: _record(row, form, signed_in(request))) is not None:
        messages.success(request, f"The supply water of {row} is saved.")
        return redirect(url_of(row))
    return form_page(
        request,
        form,
        heading=f"Supply water of {row}",
        submit="Save",
        back=url_of(row),
        steps=trail(row),
        lead="What comes out of the tap decides how a fresh fill starts and what a part change of water "
        "does. Leave empty what you do not know: empty is not zero.",
    )


def _record(site: Site, form: SupplyWaterForm, by: Person) -> Site:
    return supply_water.record_supply_water(
        site=site,
        readings=form.readings(),
        tested_on=form.cleaned_data["tested_on"],
        today=today_at(site.client.organisation),
        by=by,
    )
