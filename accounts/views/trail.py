"""The audit trail, for the owner."""

from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from accounts.access import page_for, signed_in
from accounts.audit_sentences import entries, names_of_people
from accounts.forms import TrailForm
from accounts.models import AuditEvent, Person
from accounts.roles import Action

PER_PAGE = 50
# Counted and turned through no further: earlier entries are reached by the days.
MOST_ENTRIES = 10_000


@page_for(Action.SEE_AUDIT_TRAIL)
@require_http_methods(["GET", "HEAD"])
def audit_trail(request: HttpRequest) -> HttpResponse:
    owner = signed_in(request)
    people = list(Person.objects.filter(organisation=owner.organisation_id))
    form = TrailForm(request.GET or None, people=people)
    wanted = form.cleaned_data if form.is_bound and form.is_valid() else {}
    events = narrowed(AuditEvent.objects.all(), wanted, ZoneInfo(owner.organisation.time_zone))
    page = Paginator(events[:MOST_ENTRIES], PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "entries": entries(list(page), names_of_people(people)),
        "is_filtered": any(wanted.values()),
        "most": MOST_ENTRIES,
        "is_cut": page.paginator.count == MOST_ENTRIES,
    }
    return render(request, "accounts/audit_trail.html", context)


def narrowed(events: QuerySet[AuditEvent], wanted: dict[str, Any], zone: ZoneInfo) -> QuerySet[AuditEvent]:
    """The events that the filters leave; days are days at the firm."""
    if who := wanted.get("who"):
        events = events.filter(actor_id=who)
    if about := wanted.get("about"):
        events = events.filter(action__startswith=f"{about}.")
    if since := wanted.get("since"):
        events = events.filter(at__gte=datetime.combine(since, time.min, zone))
    if until := wanted.get("until"):
        events = events.filter(at__lt=datetime.combine(until + timedelta(days=1), time.min, zone))
    return events
