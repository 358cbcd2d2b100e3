"""One's own account: details, e-mail address, signing PIN; the rest is the sign-in library's pages."""

from allauth.mfa.models import Authenticator
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from accounts.access import page_for, signed_in
from accounts.email_change import LinkGone, ask_email_change, confirm_email_change, read_link
from accounts.forms import DetailsForm, EmailForm, SigningPinForm
from accounts.people import change_details
from accounts.roles import Action, Role
from accounts.sensitive import confirmed, limited
from accounts.signing_pin import change_signing_pin


@require_http_methods(["GET", "HEAD"])
def me(request: HttpRequest) -> HttpResponse:
    """What a person can do about their own sign-in."""
    person = signed_in(request)
    factors = set(Authenticator.objects.filter(user=person).values_list("type", flat=True))
    return render(
        request,
        "accounts/me.html",
        {
            "person": person,
            "roles": [Role(role).label for role in sorted(person.roles)],
            "has_second_factor": bool(factors - {Authenticator.Type.RECOVERY_CODES}),
            "signs": person.may(Action.CARRY_OUT_VISITS),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
def details(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    form = DetailsForm(request.POST or None, initial={"name": person.name, "phone": person.phone})
    if request.method == "POST" and form.is_valid():
        try:
            change_details(person=person, **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, "Your details are saved.")
            return redirect("accounts:me")
    return render(
        request, "accounts/form.html", {"form": form, "heading": "Your name and telephone", "submit": "Save"}
    )


@limited("signing_pin")
@page_for(Action.CARRY_OUT_VISITS)
@confirmed
@require_http_methods(["GET", "HEAD", "POST"])
def signing_pin(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    form = SigningPinForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            change_signing_pin(pin=form.cleaned_data["pin"], by=person)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, "Your signing PIN is set. The next visit is signed with it.")
            return redirect("accounts:me")
    heading = "Change your signing PIN" if person.signing_pin else "Set your signing PIN"
    return render(request, "accounts/form.html", {"form": form, "heading": heading, "submit": "Set the PIN"})


@limited("email_change")
@confirmed
@require_http_methods(["GET", "HEAD", "POST"])
def email(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    form = EmailForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            ask_email_change(
                person=person,
                email=form.cleaned_data["email"],
                link=lambda token: request.build_absolute_uri(
                    reverse("accounts:email_confirm", args=[token])
                ),
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, "A link is on its way to the new address. Open it within a day.")
            return redirect("accounts:me")
    heading = "Change your e-mail address"
    lead = f"You sign in with {person.email} now."
    context = {"form": form, "heading": heading, "lead": lead, "submit": "Send the link"}
    return render(request, "accounts/form.html", context)


@limited("email_confirm")
@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def email_confirm(request: HttpRequest, token: str) -> HttpResponse:
    """The page behind the link. Opening it changes nothing: a mail scanner opens links too."""
    problem = ""
    try:
        change = read_link(token)
        if request.method == "POST":
            confirm_email_change(change)
            messages.success(request, f"Done. From now on sign in with {change.becomes}.")
            return redirect("account_login")
    except LinkGone:
        return render(request, "accounts/link_gone.html", {"what": "e-mail"}, status=410)
    except ValidationError as error:
        problem = " ".join(error.messages)
    response = render(request, "accounts/email_confirm.html", {"change": change, "problem": problem})
    response["Referrer-Policy"] = "no-referrer"
    return response
