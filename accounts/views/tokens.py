"""The owner's pages of access tokens: which there are, a new one, taking one back."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from accounts.access import page_for, signed_in
from accounts.forms import TokenForm
from accounts.models import AccessToken, Person
from accounts.roles import Action, Role
from accounts.sensitive import confirmed, limited
from accounts.tokens import make_token, withdraw_token

LONGEST_LIST = 200
PAGE = ["GET", "HEAD", "POST"]


@page_for(Action.MANAGE_TOKENS)
@require_safe
def tokens(request: HttpRequest) -> HttpResponse:
    rows = AccessToken.objects.select_related("acts_for", "made_by").order_by("-created_at", "id")
    context = {"lines": [(row, _standing(row)) for row in rows[:LONGEST_LIST]], "longest": LONGEST_LIST}
    return render(request, "accounts/tokens.html", context)


def _standing(token: AccessToken) -> str:
    """Whether it works, in a word; why not, if it does not."""
    if token.withdrawn_at:
        return "withdrawn"
    if token.expires_at <= timezone.now():
        return "expired"
    if not (token.acts_for.is_active and token.made_by.is_active):
        return "account closed"
    return "works"


@limited("make_token")
@page_for(Action.MANAGE_TOKENS)
@confirmed
@require_http_methods(PAGE)
@never_cache
def token_new(request: HttpRequest) -> HttpResponse:
    """The answer to a good form shows the secret, this once; it is not kept and not in the address."""
    owner = signed_in(request)
    form = TokenForm(request.POST or None, managers=list(_managers(owner)))
    if request.method == "POST" and form.is_valid():
        try:
            token, secret = make_token(**form.cleaned_data, by=owner)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            return render(request, "accounts/token_made.html", {"token": token, "secret": secret})
    context = {
        "form": form,
        "heading": "New access token",
        "lead": "Whoever holds the token can do what it may, without a password. Give it to one program.",
        "submit": "Make the token",
        "cancel_url": reverse("accounts:tokens"),
    }
    return render(request, "accounts/form.html", context)


def _managers(owner: Person) -> QuerySet[Person]:
    people = Person.objects.filter(organisation=owner.organisation_id, is_active=True)
    return people.filter(role_grants__role=Role.RENTAL_MANAGER).order_by("name", "id")


@page_for(Action.MANAGE_TOKENS)
@confirmed
@require_http_methods(PAGE)
def token_withdraw(request: HttpRequest, pk: str) -> HttpResponse:
    token = get_object_or_404(AccessToken, pk=pk)
    if request.method == "POST":
        withdraw_token(token=token, by=signed_in(request))
        messages.success(request, f"The token “{token}” no longer works.")
        return redirect("accounts:tokens")
    context = {
        "question": f"Withdraw the token “{token}”?",
        "consequence": "The program that holds it is refused at once. It cannot be brought back.",
        "confirm": "Withdraw it",
        "cancel_url": reverse("accounts:tokens"),
    }
    return render(request, "shell/confirm.html", context)
