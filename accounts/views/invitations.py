"""Inviting people, and the page behind the link."""

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from accounts import invitations
from accounts.access import page_for, signed_in
from accounts.forms import AcceptForm, InviteForm
from accounts.roles import Action, Role
from accounts.sensitive import confirmed, limited

_SESSION_KEY = "invitation"


@limited("invite")
@page_for(Action.MANAGE_PEOPLE)
@confirmed
@require_http_methods(["GET", "HEAD", "POST"])
def invite(request: HttpRequest) -> HttpResponse:
    form = InviteForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            invitation = invitations.invite(
                **form.cleaned_data,
                by=signed_in(request),
                link=lambda secret: request.build_absolute_uri(
                    reverse("accounts:open_invitation", args=[secret])
                ),
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, f"An invitation is on its way to {invitation.email}.")
            if Role.RENTAL_MANAGER in invitation.roles:
                return redirect("sites:invitation_clients", pk=invitation.pk)
            return redirect("accounts:people")
    context = {
        "form": form,
        "heading": "Invite somebody",
        "submit": "Send the invitation",
        "cancel_url": reverse("accounts:people"),
    }
    return render(request, "accounts/form.html", context)


@page_for(Action.MANAGE_PEOPLE)
@require_http_methods(["GET", "HEAD", "POST"])
def withdraw_invitation(request: HttpRequest, pk: str) -> HttpResponse:
    invitation = get_object_or_404(invitations.open_invitations(), pk=pk)
    if request.method == "POST":
        try:
            invitations.withdraw_invitation(invitation=invitation, by=signed_in(request))
        except invitations.InvitationGone:
            messages.info(request, "The invitation was used or withdrawn meanwhile.")
        else:
            messages.success(request, f"The invitation to {invitation.email} no longer works.")
        return redirect("accounts:people")
    context = {
        "question": f"Withdraw the invitation to {invitation.email}?",
        "consequence": "The link in the e-mail stops working. You can invite the same address again.",
        "confirm": "Withdraw it",
        "cancel_url": reverse("accounts:people"),
    }
    return render(request, "shell/confirm.html", context)


@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD"])
def open_invitation(request: HttpRequest, secret: str) -> HttpResponse:
    """Take the secret out of the address, so that it stays in no history and no referrer."""
    request.session[_SESSION_KEY] = secret
    response = redirect("accounts:accept_invitation")
    response["Referrer-Policy"] = "no-referrer"
    return response


@limited("accept_invitation")
@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def accept_invitation(request: HttpRequest) -> HttpResponse:
    secret = request.session.get(_SESSION_KEY, "")
    try:
        invitation = invitations.find_invitation(secret)
        form = AcceptForm(request.POST or None, initial={"name": invitation.name})
        if request.method == "POST" and form.is_valid():
            try:
                person = invitations.accept_invitation(secret=secret, **form.cleaned_data)
            except ValidationError as error:
                _show(form, error)
            else:
                del request.session[_SESSION_KEY]
                messages.success(request, f"Your account is ready. Sign in with {person.email}.")
                return redirect("account_login")
    except invitations.InvitationGone:
        return render(request, "accounts/link_gone.html", {"what": "invitation"}, status=410)
    roles = [Role(role).label for role in invitation.roles]
    return render(
        request, "accounts/accept_invitation.html", {"form": form, "invitation": invitation, "roles": roles}
    )


def _show(form: AcceptForm, error: ValidationError) -> None:
    """At its field where the form has one; the address is fixed and has none."""
    for field, told in error.message_dict.items():
        form.add_error(field if field in form.fields else None, ValidationError(told))
