"""A run's own page: what was asked, how far it is, and a way to stop it."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.runs.ask import cancel_run
from service.runs.visible import visible_runs


@require_GET
@never_cache
@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
def run(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The page; for htmx only its changing part, which asks for itself again until the run has ended."""
    found = get_object_or_404(visible_runs(signed_in(request)), pk=pk)
    template = "runs/progress.html" if getattr(request, "htmx", False) else "runs/run.html"
    return render(request, template, {"run": found})


@require_POST
@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
def cancel(request: HttpRequest, pk: UUID) -> HttpResponse:
    found = get_object_or_404(visible_runs(signed_in(request)), pk=pk)
    cancel_run(run=found, by=signed_in(request))
    return redirect("runs:run", pk=found.pk)
