"""A technician's rounds as a calendar (RFC 5545). Sites and addresses only: no codes, no names of people."""

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.utils import timezone
from icalendar import Calendar, Event

from accounts.models import Person
from service.rounds.models import PlannedVisit, PlanState
from service.visits.clock import day_of, moment_of, zone_of
from service.visits.models import Visit, VisitState

DAYS_BACK, DAYS_AHEAD = 14, 62
# Where nothing says how long a visit takes. Own choice, no source.
CUSTOMARY = timedelta(minutes=40)


def calendar_of(person: Person, now: datetime | None = None) -> bytes:
    """The person's visits of the last fortnight and the next two months. Three queries.

    Needs the organisation in scope. A cancelled visit stays in as cancelled, so that a calendar takes
    it out.
    """
    moment, zone = now or timezone.now(), zone_of(person.organisation)
    today = day_of(moment, zone)
    visits = (
        Visit.objects.filter(technician=person)
        .filter(planned_on__range=(today - timedelta(days=DAYS_BACK), today + timedelta(days=DAYS_AHEAD)))
        .exclude(state=VisitState.HANDED_OVER)
        .select_related("spa__site")
        .defer("spa__site__access_code", "spa__site__access_notes")
        .order_by("planned_on", "sequence", "pk")
    )
    planned = _planned(visits)
    calendar = Calendar()
    calendar.add("prodid", "-//Runnel//Rounds//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", f"Rounds, {person.organisation.name}")
    calendar.add("x-wr-timezone", person.organisation.time_zone)
    for visit in visits:
        calendar.add_component(_event(visit, planned.get(visit.pk), zone, moment))
    calendar.add_missing_timezones()
    return bytes(calendar.to_ical())


def _planned(visits: QuerySet[Visit]) -> Mapping[UUID, PlannedVisit]:
    rows = PlannedVisit.objects.filter(
        visit__in=visits, plan__state=PlanState.PUBLISHED, start_at__isnull=False
    )
    return {row.visit_id: row for row in rows.select_related("plan") if row.visit_id}


def _event(visit: Visit, planned: PlannedVisit | None, zone: ZoneInfo, now: datetime) -> Event:
    event = Event()
    event.add("uid", f"{visit.pk}@runnel")
    event.add("dtstamp", now)
    event.add("sequence", _sequence(visit, planned))
    event.add("summary", f"{visit.spa.site.name}: {visit.spa.name}")
    if visit.spa.site.address:
        event.add("location", ", ".join(visit.spa.site.address.split("\n")))
    if visit.spa.site.latitude is not None and visit.spa.site.longitude is not None:
        event.add("geo", (float(visit.spa.site.latitude), float(visit.spa.site.longitude)))
    begins, ends = _times(visit, planned, zone)
    event.add("dtstart", begins)
    event.add("dtend", ends)
    event.add("status", "CANCELLED" if visit.state == VisitState.CANCELLED else "CONFIRMED")
    return event


def _times(
    visit: Visit, planned: PlannedVisit | None, zone: ZoneInfo
) -> tuple[datetime, datetime] | tuple[date, date]:
    """When the plan says, else the visit's window, else the whole day."""
    if planned is not None and planned.day == visit.planned_on and planned.start_at and planned.leave_at:
        return planned.start_at.astimezone(zone), planned.leave_at.astimezone(zone)
    if visit.window_from is None:
        return visit.planned_on, visit.planned_on + timedelta(days=1)
    begins = moment_of(visit.planned_on, visit.window_from, zone)
    return begins, begins + CUSTOMARY


def _sequence(visit: Visit, planned: PlannedVisit | None) -> int:
    """Rises whenever the visit or its plan changes (RFC 5545, 3.8.7.4)."""
    if planned is None or planned.plan.published_at is None:
        return visit.revision
    since = planned.plan.published_at - visit.created_at
    return visit.revision + planned.plan.revision + max(0, int(since.total_seconds()))
