"""What stands between a request and every page: signed in, in time, with a second factor, in one firm."""

from collections.abc import Callable

from allauth.mfa.utils import is_mfa_enabled
from allauth.usersessions.models import UserSession
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django_scopes import scope

from accounts.sessions import has_ended, mark_seen

Next = Callable[[HttpRequest], HttpResponse]
_TOO_LONG = "You were signed out: three hours without use, or twelve since you signed in."
# Never shown back, never kept.
_SECRET_FIELDS = ("password", "csrf", "pin", "code", "credential")


class OrganisationScopeMiddleware:
    """Every query of a page sees one firm. Without a signed-in person nothing is open: a query raises."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not request.user.is_authenticated:
            return self.get_response(request)
        with scope(organisation=request.user.organisation):
            return self.get_response(request)


class SessionAgeMiddleware:
    """Signs out who was away too long or signed in too long ago, and notes who is here."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated:
            now = timezone.now()
            if has_ended(request.session, now):
                logout(request)
                messages.info(request, _TOO_LONG)
            elif mark_seen(request.session, now):
                UserSession.objects.create_from_request(request)
        return self.get_response(request)


class SignedInMiddleware(LoginRequiredMiddleware):
    """Pages are for people who are signed in. A form that comes too late is shown back, not lost."""

    def handle_no_permission(  # type: ignore[override]
        self, request: HttpRequest, view_func: Callable[..., HttpResponseBase]
    ) -> HttpResponseBase:
        if request.method != "POST" or request.headers.get("HX-Request"):
            return super().handle_no_permission(request, view_func)
        typed = [
            (name.replace("_", " "), value)
            for name, values in request.POST.lists()
            for value in values
            if value and not any(secret in name for secret in _SECRET_FIELDS)
        ]
        if not typed:
            return super().handle_no_permission(request, view_func)
        return render(request, "shell/signed_out.html", {"typed": typed, "back": request.path}, status=401)


class SecondFactorMiddleware:
    """Where the firm asks everybody for a second factor, nothing else opens until one is set up."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., HttpResponseBase], *_: object
    ) -> HttpResponseBase | None:
        person = request.user
        if not person.is_authenticated or not person.organisation.require_second_factor:
            return None
        if not getattr(view, "login_required", True) or _serves_the_sign_in(view) or is_mfa_enabled(person):
            return None
        return redirect("mfa_index")


def _serves_the_sign_in(view: Callable[..., HttpResponseBase]) -> bool:
    """Whether the view belongs to the sign-in library: setting up a factor, signing out, and the like."""
    return getattr(view, "__module__", "").startswith("allauth.")
