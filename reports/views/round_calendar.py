"""A technician's rounds to take along: sheets to print, the link to their calendar, the calendar itself."""

from uuid import UUID

from django.contrib.auth.decorators import login_not_required
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe
from django_scopes import scope

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from reports.round_calendar import calendar_of
from service.rounds.calendar_link import live_link, make_calendar_link, person_behind, revoke_calendar_link
from service.rounds.models import PlannedRound, PlanState
from service.shell.days import today_at

MOST_SHEETS = 14


@login_not_required
@require_safe
@never_cache
def calendar(request: HttpRequest, pk: UUID, secret: str) -> HttpResponse:
    """Public by its secret. A wrong one, an ended one and one that never was answer alike."""
    person = person_behind(pk, secret)
    if person is None:
        raise Http404
    with scope(organisation=person.organisation):
        content = calendar_of(person)
    answer = HttpResponse(content, content_type="text/calendar; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="rounds.ics"'
    answer["Referrer-Policy"] = "no-referrer"
    return answer


@page_for(Action.CARRY_OUT_VISITS)
@require_safe
@never_cache
def my_calendar(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    return render(request, "reports/my_calendar.html", {"link": live_link(person), "rounds": _rounds(person)})


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
@never_cache
def make(request: HttpRequest) -> HttpResponse:
    """A new link, shown this once."""
    person = signed_in(request)
    link, secret = make_calendar_link(by=person)
    address = request.build_absolute_uri(reverse("reports:calendar", args=[link.pk, secret]))
    shown = {"link": link, "address": address, "rounds": _rounds(person)}
    return render(request, "reports/my_calendar.html", shown)


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def revoke(request: HttpRequest) -> HttpResponse:
    revoke_calendar_link(by=signed_in(request))
    return redirect("reports:my_calendar")


def _rounds(person: Person) -> QuerySet[PlannedRound]:
    """The person's published rounds from today on, the next ones first."""
    rounds = PlannedRound.objects.filter(
        technician=person, plan__state=PlanState.PUBLISHED, day__gte=today_at(person.organisation)
    )
    return rounds.order_by("day", "depart_at")[:MOST_SHEETS]
