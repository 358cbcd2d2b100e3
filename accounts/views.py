"""Your own account."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from accounts.access import signed_in


def me(request: HttpRequest) -> HttpResponse:
    """What a person can do about their own sign-in."""
    return render(request, "accounts/me.html", {"person": signed_in(request)})
