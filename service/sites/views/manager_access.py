"""The pages that say which clients a rental manager sees."""

from collections.abc import Collection
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from accounts.access import page_for, signed_in
from accounts.invitations import open_invitations
from accounts.models import Person
from accounts.roles import Action, Role
from service.sites.manager_access import choose_invited_clients, set_client_access
from service.sites.models import ClientAccess
from service.sites.visible import visible_clients

PAGE = ["GET", "HEAD", "POST"]


class ClientsForm(forms.Form):
    """Any number of the firm's clients that are in use."""

    def __init__(self, data: Any, *, owner: Person, chosen: Collection[UUID | str]) -> None:
        super().__init__(data, initial={"clients": list(chosen)})
        # Made here and not above: the firm's clients are known only with a request.
        self.fields["clients"] = forms.ModelMultipleChoiceField(
            label="Clients",
            queryset=visible_clients(owner).filter(archived_at=None).order_by("name", "id"),
            required=False,
            widget=forms.CheckboxSelectMultiple,
        )


@page_for(Action.MANAGE_PEOPLE)
@require_http_methods(PAGE)
def person_clients(request: HttpRequest, pk: UUID) -> HttpResponse:
    owner = signed_in(request)
    managers = Person.objects.filter(
        organisation=owner.organisation_id, role_grants__role=Role.RENTAL_MANAGER
    )
    person = get_object_or_404(managers, pk=pk)
    seen = ClientAccess.objects.filter(person=person).values_list("client_id", flat=True)
    form = ClientsForm(_sent(request), owner=owner, chosen=list(seen))
    if request.method == "POST" and form.is_valid():
        set_client_access(person=person, clients=form.cleaned_data["clients"], by=owner)
        messages.success(request, f"What {person.name} sees is saved.")
        return redirect("accounts:person", pk=person.pk)
    back = reverse("accounts:person", args=[person.pk])
    return _page(request, form, f"Clients that {person.name} sees", back)


@page_for(Action.MANAGE_PEOPLE)
@require_http_methods(PAGE)
def invitation_clients(request: HttpRequest, pk: UUID) -> HttpResponse:
    owner = signed_in(request)
    invitation = get_object_or_404(open_invitations(), pk=pk)
    if Role.RENTAL_MANAGER not in invitation.roles:
        return redirect("accounts:people")
    form = ClientsForm(_sent(request), owner=owner, chosen=invitation.client_ids)
    if request.method == "POST" and form.is_valid():
        choose_invited_clients(invitation=invitation, clients=form.cleaned_data["clients"], by=owner)
        messages.success(request, f"{invitation.name} will see them once the invitation is accepted.")
        return redirect("accounts:people")
    heading = f"Clients that {invitation.name} will see"
    return _page(request, form, heading, reverse("accounts:people"))


def _sent(request: HttpRequest) -> QueryDict | None:
    """What was sent; nothing ticked is an answer too."""
    return request.POST if request.method == "POST" else None


def _page(request: HttpRequest, form: ClientsForm, heading: str, back: str) -> HttpResponse:
    context = {"form": form, "heading": heading, "back": back}
    return render(request, "sites/manager_clients.html", context)
