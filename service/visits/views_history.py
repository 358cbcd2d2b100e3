"""A spa over time: whether people may use it, what it read, when it was closed; and all closures."""

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.chemistry.guidelines import Band
from service.shell.timeplot import Event, Point, TimePlot
from service.sites.listing import ROWS_PER_PAGE
from service.sites.models import Spa
from service.sites.visible import visible_spas
from service.visits.bands import bands_of, short
from service.visits.defects import visible_defects
from service.visits.find_records import ended_visits
from service.visits.fitness import fitness_of
from service.visits.imported import MARK, imported_readings
from service.visits.models import Bound, Closure, ImportedReading, Reading, Task, TaskKind, TaskState, Visit
from service.visits.parameters import BY_PARAMETER

DAYS_SHOWN = 90
FEWEST_DAYS = 14
VISITS_SHOWN = 12
CLOSURES_SHOWN = 10
PLOTTED = (
    "free_chlorine_mg_l",
    "total_bromine_mg_l",
    "ph",
    "total_alkalinity_mg_l",
    "calcium_hardness_mg_l",
    "temperature_c",
)


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def spa_history(request: HttpRequest, pk: UUID) -> HttpResponse:
    person, now = signed_in(request), timezone.now()
    spa = _spa(person, pk)
    closures = list(Closure.objects.filter(spa=spa).select_related("closed_by")[:CLOSURES_SHOWN])
    former = former_readings(spa, now)
    drawn = plots(spa, _readings(spa, now), former, _events(spa, closures), now)
    context = {
        "spa": spa,
        "fitness": fitness_of(spa, now),
        "closures": closures,
        "visits": _last_visits(person, spa),
        "defects": visible_defects(person).filter(spa=spa, closed_at=None),
        "plots": drawn,
        "days": days_drawn(drawn),
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


def _readings(spa: Spa, now: datetime) -> Mapping[str, list[Reading]]:
    since = now - timedelta(days=DAYS_SHOWN)
    rows = Reading.objects.filter(visit__spa=spa, governs=True, taken_at__gte=since, parameter__in=PLOTTED)
    found: dict[str, list[Reading]] = {}
    for reading in rows.order_by("taken_at", "pk"):
        found.setdefault(reading.parameter, []).append(reading)
    return found


def former_readings(spa: Spa, now: datetime) -> Mapping[str, list[ImportedReading]]:
    """What lists say of the days that the plots show."""
    return imported_readings(spa, since=now - timedelta(days=DAYS_SHOWN), parameters=PLOTTED)


def _events(spa: Spa, closures: Iterable[Closure]) -> list[Event]:
    drains = Task.objects.filter(visit__spa=spa, kind=TaskKind.DRAIN_REFILL, state=TaskState.DONE)
    drained = [Event(at, "drained") for at in drains.values_list("done_at", flat=True) if at]
    return [*drained, *(Event(closure.closed_at, "closed") for closure in closures)]


def _axis_start(read: Sequence[Sequence[Reading | ImportedReading]], now: datetime) -> datetime:
    """Where the time axis begins: a day before the first reading, at least 14 and at most 90 days back."""
    first = min((rows[0].taken_at for rows in read if rows), default=now)
    days = min(max(math.ceil((now - first) / timedelta(days=1)) + 1, FEWEST_DAYS), DAYS_SHOWN)
    return now - timedelta(days=days)


def days_drawn(drawn: Sequence[TimePlot]) -> int:
    """How many days the plots span; they share one axis."""
    return round((drawn[0].end - drawn[0].start) / timedelta(days=1)) if drawn else DAYS_SHOWN


def plots(
    spa: Spa,
    readings: Mapping[str, Sequence[Reading]],
    former: Mapping[str, Sequence[ImportedReading]],
    events: Sequence[Event],
    now: datetime,
) -> list[TimePlot]:
    """One plot for each parameter that was read, all over the same days.

    former  Readings from lists: on the plot and in its table, marked as imported.
    """
    limits, start = bands_of(spa), _axis_start([*readings.values(), *former.values()], now)
    shown = [event for event in events if start <= event.at <= now]
    return [
        _plot(name, points, limits.get(name), shown, start, now, spa.organisation.time_zone)
        for name in PLOTTED
        if (points := _points(readings.get(name, ()), former.get(name, ())))
    ]


def _points(readings: Sequence[Reading], former: Sequence[ImportedReading]) -> list[Point]:
    ours = [Point(one.taken_at, short(one.value), _note(one)) for one in readings]
    return [*(Point(one.taken_at, short(one.value), _former_note(one)) for one in former), *ours]


def _plot(
    name: str,
    points: Sequence[Point],
    limits: Band | None,
    events: Sequence[Event],
    start: datetime,
    end: datetime,
    zone: str,
) -> TimePlot:
    test = BY_PARAMETER[name]
    return TimePlot(
        name=test.label,
        unit=test.unit,
        points=points,
        start=start,
        end=end,
        zone=zone,
        low=limits.low if limits else None,
        high=limits.high if limits else None,
        events=events,
    )


def _note(reading: Reading) -> str:
    bound = f"{reading.get_bound_display()}, " if reading.bound else ""
    return f"{bound}{reading.get_moment_display().lower()}"


def _former_note(reading: ImportedReading) -> str:
    bound = f"{Bound(reading.bound).label}, " if reading.bound else ""
    return f"{bound}{MARK}"


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
