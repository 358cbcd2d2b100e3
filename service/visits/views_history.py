"""A spa over time: whether people may use it, what it read, when it was closed; and all closures."""

from collections.abc import Iterable
from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.sites.listing import ROWS_PER_PAGE
from service.sites.models import Spa
from service.sites.visible import visible_spas
from service.visits.defects import visible_defects
from service.visits.find_records import ended_visits
from service.visits.fitness import fitness_of
from service.visits.history import range_asked, water_history
from service.visits.models import Closure, Visit

VISITS_SHOWN = 12
CLOSURES_SHOWN = 10


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def spa_history(request: HttpRequest, pk: UUID) -> HttpResponse:
    person, now = signed_in(request), timezone.now()
    spa = _spa(person, pk)
    closures = list(Closure.objects.filter(spa=spa).select_related("closed_by")[:CLOSURES_SHOWN])
    asked = range_asked(request.GET.get("days", ""))
    context = {
        "spa": spa,
        "fitness": fitness_of(spa, now),
        "closures": closures,
        "visits": _last_visits(person, spa),
        "defects": visible_defects(person).filter(spa=spa, closed_at=None),
        "water": water_history(spa, asked=asked, now=now, signed_only=not person.may(Action.SEE_FIRM)),
        "see_names": person.may(Action.SEE_STAFF_NAMES),
        "see_firm": person.may(Action.SEE_FIRM),
        "may_plan": person.may(Action.PLAN_VISITS),
    }
    return render(request, "visits/spa_history.html", context)


def _spa(person: Person, pk: UUID) -> Spa:
    rows = visible_spas(person).select_related("site__client__organisation", "organisation")
    return get_object_or_404(rows.defer("site__access_code", "site__access_notes"), pk=pk)


def _last_visits(person: Person, spa: Spa) -> Iterable[Visit]:
    rows = ended_visits(person, {"spa": spa.pk}).select_related("technician", "record")
    rows = rows.defer("record__content", "record__canonical")
    return rows.order_by("-planned_on", "-ended_at", "pk")[:VISITS_SHOWN]


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def closures(request: HttpRequest) -> HttpResponse:
    """Closures, those that stand first; a spa reopens only by a reading."""
    person = signed_in(request)
    rows = Closure.objects.filter(spa__in=visible_spas(person))
    if request.GET.get("show") != "all":
        rows = rows.filter(reopened_at=None)
    rows = rows.select_related("spa__site__client", "closed_by", "reopened_visit__record").defer(
        "spa__site__access_code",
        "spa__site__access_notes",
        "reopened_visit__record__content",
        "reopened_visit__record__canonical",
    )
    context = {
        "page": Paginator(rows.order_by("-closed_at", "pk"), ROWS_PER_PAGE).get_page(request.GET.get("page")),
        "all": request.GET.get("show") == "all",
        "see_names": person.may(Action.SEE_STAFF_NAMES),
        "may_plan": person.may(Action.PLAN_VISITS),
    }
    return render(request, "visits/closures.html", context)
