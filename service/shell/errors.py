"""Pages for what went wrong."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form older than the sign-in behind it. Says how to go on without losing what was typed."""
    return render(request, "shell/csrf.html", status=403)
