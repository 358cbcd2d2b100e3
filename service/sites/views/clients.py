"""Pages of clients."""

from copy import copy
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import Count, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action, Role
from service.sites.archive import in_use, why_not_in_use
from service.sites.client_access import grant_client_access, withdraw_client_access
from service.sites.forms import ClientAccessForm, ClientForm, done_or_told, typed
from service.sites.guideline import in_force
from service.sites.listing import IN_USE_FIRST, Column, Filters, listing, state_field, words_field
from service.sites.models import Client, ClientAccess, ClientKind, Site, Spa
from service.sites.pages import Step, archive_page, form_page, restore_and_return, trail, url_of
from service.sites.register import add_client, change_client
from service.sites.visible import visible_clients

COLUMNS = (
    Column("name", "Client", ("name",)),
    Column("reference", "Reference", ("reference", "name")),
    Column("kind", "Kind", ("kind", "name")),
    Column("sites", "Sites", figure=True),
    Column("spas", "Spas", figure=True),
)


class ClientFilter(forms.Form):
    q = words_field()
    kind = forms.ChoiceField(label="Kind", choices=[("", "Any kind"), *ClientKind.choices], required=False)
    state = state_field()


FILTERS = Filters(
    form=ClientFilter,
    words=("name", "reference", "contact_name", "email", "phone"),
    equal={"kind": "kind"},
    archived=("archived_at",),
)


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def clients(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    found = listing(visible_clients(person), given=request.GET, filters=FILTERS, columns=COLUMNS)
    keys = [row.pk for row in found.page]
    sites = Site.objects.filter(client__in=keys, archived_at=None)
    spas = in_use(Spa.objects.filter(site__client__in=keys))
    site_counts, spa_counts = _counts(sites, "client"), _counts(spas, "site__client")
    context = {
        "listing": found,
        "counted": [(row, site_counts.get(row.pk, 0), spa_counts.get(row.pk, 0)) for row in found.page],
        "may_edit": person.may(Action.EDIT_SITES),
    }
    return render(request, "sites/clients.html", context)


def _counts(rows: QuerySet[Any], by: str) -> dict[UUID, int]:
    """How many rows each client has: asked once for a page, not counted in every row of the list."""
    return dict(rows.order_by().values_list(by).annotate(Count("pk")))


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def client(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    row = _client(person, pk)
    may_manage = person.may(Action.MANAGE_PEOPLE)
    context = {
        "client": row,
        "trail": trail(row)[:-1],
        "not_in_use": why_not_in_use(row),
        "guideline": in_force(row),
        "sites": row.sites.order_by(IN_USE_FIRST, "name").annotate(spa_count=_spas_in_use()),
        "may_edit": person.may(Action.EDIT_SITES),
        "see_notes": person.may(Action.SEE_FIRM),
        "may_manage": may_manage,
        "accesses": row.accesses.select_related("person") if may_manage else (),
        "access_form": _access_form(row) if may_manage else None,
    }
    return render(request, "sites/client.html", context)


def _spas_in_use() -> Count:
    return Count("spas", filter=Q(spas__archived_at=None))


def _client(person: Person, pk: UUID) -> Client:
    return get_object_or_404(visible_clients(person).select_related("organisation"), pk=pk)


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def client_new(request: HttpRequest) -> HttpResponse:
    form = ClientForm(request.POST or None)
    if form.is_valid():
        new = done_or_told(form, lambda: add_client(by=signed_in(request), **typed(form)))
        if new:
            messages.success(request, f"{new} is added. Next: its first site.")
            return redirect(url_of(new))
    return form_page(
        request,
        form,
        heading="New client",
        submit="Add the client",
        back=reverse("sites:clients"),
        steps=[Step("Clients", reverse("sites:clients"))],
        groups=ClientForm.groups,
    )


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def client_edit(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = _client(signed_in(request), pk)
    form = ClientForm(request.POST or None, instance=copy(row))
    if form.is_valid():
        changed = done_or_told(form, lambda: change_client(client=row, by=signed_in(request), **typed(form)))
        if changed:
            messages.success(request, f"{changed} is saved.")
            return redirect(url_of(changed))
    return form_page(
        request,
        form,
        heading=f"Change {row}",
        submit="Save",
        back=url_of(row),
        steps=trail(row),
        groups=ClientForm.groups,
    )


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def client_archive(request: HttpRequest, pk: UUID) -> HttpResponse:
    consequence = (
        "Its sites and spas take no new visits until you bring it back. "
        "Records stay. Visits already planned stay in the plan: cancel them there."
    )
    return archive_page(request, _client(signed_in(request), pk), consequence)


@page_for(Action.EDIT_SITES)
@require_POST
def client_restore(request: HttpRequest, pk: UUID) -> HttpResponse:
    return restore_and_return(request, _client(signed_in(request), pk))


@page_for(Action.MANAGE_PEOPLE)
@require_POST
def client_access_grant(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = _client(signed_in(request), pk)
    form = ClientAccessForm(request.POST, managers=_managers_without(row))
    if not form.is_valid():
        messages.error(request, "Choose a rental manager of your firm.")
        return redirect(url_of(row))
    person = form.cleaned_data["person"]
    grant_client_access(client=row, person=person, by=signed_in(request))
    messages.success(request, f"{person} sees {row} from now on.")
    return redirect(url_of(row))


@page_for(Action.MANAGE_PEOPLE)
@require_POST
def client_access_withdraw(request: HttpRequest, pk: UUID, access_pk: UUID) -> HttpResponse:
    row = _client(signed_in(request), pk)
    access = get_object_or_404(row.accesses.select_related("person", "client"), pk=access_pk)
    withdraw_client_access(access=access, by=signed_in(request))
    messages.success(request, f"{access.person} no longer sees {row}.")
    return redirect(url_of(row))


def _access_form(client: Client) -> ClientAccessForm | None:
    """A choice of managers, where there is anybody to choose."""
    managers = _managers_without(client)
    return ClientAccessForm(managers=managers) if managers else None


def _managers_without(client: Client) -> list[Person]:
    """The firm's rental managers who do not see ``client``."""
    managers = Person.objects.filter(
        organisation=client.organisation_id, role_grants__role=Role.RENTAL_MANAGER, is_active=True
    )
    return list(managers.exclude(pk__in=ClientAccess.objects.filter(client=client).values("person")))
