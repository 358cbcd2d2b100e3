"""The owner's pages about people: who there is, what each may do, closing and ending."""

from collections.abc import Callable
from typing import Any

from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from accounts.access import page_for, signed_in
from accounts.forms import RolesForm
from accounts.invitations import open_invitations
from accounts.models import Person
from accounts.people import (
    ask_for_second_factors,
    change_roles,
    close_account,
    forget_second_factor,
    reopen_account,
)
from accounts.roles import ALLOWED, Action, Role
from accounts.sensitive import confirmed
from accounts.sessions import end_sessions

PAGE = ["GET", "HEAD", "POST"]


def colleagues(owner: Person) -> QuerySet[Person]:
    """Everybody of the owner's firm. People are not scoped by firm, so every page comes through here."""
    factors = Authenticator.objects.filter(user=OuterRef("pk")).exclude(
        type=Authenticator.Type.RECOVERY_CODES
    )
    return (
        Person.objects.filter(organisation=owner.organisation_id)
        .prefetch_related("role_grants")
        .annotate(has_second_factor=Exists(factors))
        .order_by("-is_active", "name", "id")
    )


@page_for(Action.MANAGE_PEOPLE)
@require_http_methods(["GET", "HEAD"])
def people(request: HttpRequest) -> HttpResponse:
    owner = signed_in(request)
    invitations = [
        {"invitation": invitation, "roles": [Role(role).label for role in invitation.roles]}
        for invitation in open_invitations()
    ]
    context = {"people": colleagues(owner), "invitations": invitations, "Role": Role}
    return render(request, "accounts/people.html", context)


@page_for(Action.MANAGE_PEOPLE)
@require_http_methods(["GET", "HEAD"])
def person(request: HttpRequest, pk: str) -> HttpResponse:
    owner = signed_in(request)
    somebody = get_object_or_404(colleagues(owner), pk=pk)
    granted = {grant.role for grant in somebody.role_grants.all()}
    context = {
        "person": somebody,
        "sessions": UserSession.objects.filter(user=somebody).order_by("-last_seen_at"),
        "is_me": somebody.pk == owner.pk,
        "is_rental_manager": Role.RENTAL_MANAGER in granted,
        "signs": any(Action.CARRY_OUT_VISITS in ALLOWED[Role(role)] for role in granted),
    }
    return render(request, "accounts/person.html", context)


@page_for(Action.MANAGE_PEOPLE)
@confirmed
@require_http_methods(PAGE)
def person_roles(request: HttpRequest, pk: str) -> HttpResponse:
    owner = signed_in(request)
    somebody = get_object_or_404(colleagues(owner), pk=pk)
    granted = [grant.role for grant in somebody.role_grants.all()]
    form = RolesForm(request.POST or None, initial={"roles": granted})
    if request.method == "POST" and form.is_valid():
        try:
            change_roles(person=somebody, roles=form.cleaned_data["roles"], by=owner)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, f"{somebody.name} has new roles, and has to sign in again.")
            return redirect("accounts:person", pk=somebody.pk)
    context = {
        "form": form,
        "heading": f"Roles of {somebody.name}",
        "lead": "Whoever gets new roles is signed out everywhere and signs in again.",
        "submit": "Save the roles",
        "cancel_url": reverse("accounts:person", args=[somebody.pk]),
    }
    return render(request, "accounts/form.html", context)


@page_for(Action.MANAGE_PEOPLE)
@confirmed
@require_http_methods(PAGE)
def person_close(request: HttpRequest, pk: str) -> HttpResponse:
    return _confirm(
        request,
        pk,
        close_account,
        question="Close the account of {name}?",
        consequence="{name} is signed out at once and cannot sign in again. Everything they signed stays.",
        confirm="Close the account",
        done="The account of {name} is closed.",
    )


@page_for(Action.MANAGE_PEOPLE)
@confirmed
@require_http_methods(PAGE)
def person_reopen(request: HttpRequest, pk: str) -> HttpResponse:
    return _confirm(
        request,
        pk,
        reopen_account,
        question="Let {name} sign in again?",
        consequence="The password and the roles are the ones from before. Check the roles.",
        confirm="Reopen the account",
        done="{name} may sign in again.",
    )


@page_for(Action.MANAGE_PEOPLE)
@require_http_methods(PAGE)
def person_end_sessions(request: HttpRequest, pk: str) -> HttpResponse:
    return _confirm(
        request,
        pk,
        end_sessions,
        question="Sign {name} out everywhere?",
        consequence="Every phone and computer has to sign in again. Visit pages keep what was typed.",
        confirm="Sign out everywhere",
        done="{name} is signed out everywhere.",
    )


@page_for(Action.MANAGE_PEOPLE)
@confirmed
@require_http_methods(PAGE)
def person_forget_factor(request: HttpRequest, pk: str) -> HttpResponse:
    return _confirm(
        request,
        pk,
        forget_second_factor,
        question="Remove the second factor of {name}?",
        consequence=(
            "For somebody who lost their phone or key. Make sure that it is really {name} who asks. "
            "They sign in with the password alone, and set up a new second factor."
        ),
        confirm="Remove the second factor",
        done="The second factor of {name} is removed.",
    )


def _confirm(
    request: HttpRequest, pk: str, do: Callable[..., Any], *, confirm: str, **words: str
) -> HttpResponse:
    """Ask before something is done to a person; do it on POST. A refusal is said on the same page."""
    owner = signed_in(request)
    somebody = get_object_or_404(colleagues(owner), pk=pk)
    said = {key: text.format(name=somebody.name) for key, text in words.items()}
    back = reverse("accounts:person", args=[somebody.pk])
    if request.method == "POST":
        try:
            do(person=somebody, by=owner)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
        else:
            messages.success(request, said["done"])
        return redirect(back)
    context = said | {"confirm": confirm, "cancel_url": back}
    return render(request, "shell/confirm.html", context)


@page_for(Action.MANAGE_PEOPLE)
@confirmed
@require_http_methods(PAGE)
def second_factor_rule(request: HttpRequest) -> HttpResponse:
    """Ask everybody for a second factor, or stop asking."""
    owner = signed_in(request)
    everybody = not owner.organisation.require_second_factor
    if request.method == "POST":
        # The wish travels with the form: two owners pressing at once must not undo each other.
        everybody = request.POST.get("everybody") == "yes"
        ask_for_second_factors(everybody=everybody, by=owner)
        messages.success(
            request,
            "Everybody is asked for a second factor from now on."
            if everybody
            else "A second factor is everybody's own choice from now on.",
        )
        return redirect("accounts:people")
    return render(request, "accounts/second_factor_rule.html", {"everybody": everybody})


@require_http_methods(["GET", "HEAD"])
def roles(request: HttpRequest) -> HttpResponse:
    """Who may do what, from the table that the code reads."""
    table = [(action.value, [(role, action in ALLOWED[role]) for role in Role]) for action in Action]
    return render(request, "accounts/roles.html", {"roles": list(Role), "table": table})
