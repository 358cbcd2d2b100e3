"""Needs that a spa makes by itself: guests who arrive to untested water, and overdue duties."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.urls import reverse

from accounts.models import Organisation
from service.office.need import Kind, Need, Urgency, about_spa
from service.rounds.models import Booking
from service.sites.archive import in_use
from service.sites.models import Site, Spa
from service.visits.clock import day_of, say
from service.visits.due import DueJob
from service.visits.models import OPEN_STATES, Closure, TaskKind, Verdict, Visit, VisitState
from service.visits.overdue import overdue_jobs

# Guests who come later than this leave time for the week's plan; own choice, no source.
GUESTS_WITHIN = timedelta(hours=36)


def needs_of_spas(firm: Organisation, now: datetime, zone: ZoneInfo) -> Iterator[Need]:
    """Guests and overdue duties; three queries for the spas and at most four for their duties."""
    today = day_of(now, zone)
    for spa in _awaiting_guests(now, today):
        if need := _guests_need(spa, now, zone):
            yield need
    spas = list(_spas(today))
    for spa in spas:
        spa.organisation = firm
    overdue = overdue_jobs(spas, today)
    for spa in spas:
        for job in overdue.get(spa.pk, ()):
            yield _duty_need(spa, job)


def _awaiting_guests(now: datetime, today: date) -> QuerySet[Spa]:
    """Spas in use at which guests arrive soon, with what the last visit said and what comes before them."""
    arrivals = Booking.objects.filter(
        Q(spa=None) | Q(spa=OuterRef("pk")),
        site=OuterRef("site"),
        cancelled_at=None,
        arrives_at__gte=now,
        arrives_at__lt=now + GUESTS_WITHIN,
    ).order_by("arrives_at")
    spa = OuterRef("pk")
    last = Visit.objects.filter(spa=spa, state=VisitState.SIGNED).order_by("-ended_at")
    coming = _coming(today)
    return (
        in_use(Spa.objects.filter(Exists(arrivals.order_by())))
        .select_related("site__client")
        .only("name", "site__name", "site__client__name")
        .annotate(
            arrives_at=Subquery(arrivals.values("arrives_at")[:1]),
            verdict=Subquery(last.values("verdict")[:1]),
            fit_from=Subquery(last.values("fit_from")[:1]),
            holds_until=Subquery(last.values("holds_until")[:1]),
            closed=Subquery(Closure.objects.filter(spa=spa, reopened_at=None).values("pk")[:1]),
            coming_on=Subquery(coming.values("planned_on")[:1]),
        )
        .order_by("site__name", "name", "pk")
    )


def _spas(today: date) -> QuerySet[Spa]:
    """Spas in use with the visit that comes next; their sites, of which there are fewer, are read once."""
    coming = _coming(today)
    sites = Site.objects.select_related("client").only(
        "name", "guideline_id", "supply_water", "client__name", "client__guideline_id", "client__kind"
    )
    return (
        in_use(Spa.objects.all())
        .prefetch_related(Prefetch("site", sites))
        .only("name", "site", "organisation", "guideline_id", "volume_l", "commissioned_on")
        .annotate(
            coming=Subquery(coming.values("pk")[:1]),
            coming_on=Subquery(coming.values("planned_on")[:1]),
        )
        .order_by("site__name", "name", "pk")
    )


def _coming(today: date) -> QuerySet[Visit]:
    """Of the spa around it: the visits to come, the next one first."""
    coming = Visit.objects.filter(spa=OuterRef("pk"), state__in=OPEN_STATES, planned_on__gte=today)
    return coming.order_by("planned_on", "window_from", "pk")


def _guests_need(spa: Spa, now: datetime, zone: ZoneInfo) -> Need | None:
    """None when nobody comes, the water holds until then, a visit comes first, or it stands closed.

    A closed spa has a line of its own.
    """
    row: Any = spa
    if row.arrives_at is None or row.closed or _holds(row):
        return None
    if row.coming_on and row.coming_on <= day_of(row.arrives_at, zone):
        return None
    tested = "It was never tested" if row.verdict is None else "Its last test does not hold until then"
    return Need(
        kind=Kind.GUESTS,
        urgency=Urgency.NOW,
        since=day_of(row.arrives_at, zone),
        text=f"Guests arrive {say(row.arrives_at, now=now, zone=zone)}. {tested}, and no visit comes before.",
        action="Plan a visit before they arrive",
        action_url=f"{reverse('visits:plan_new')}?spa={spa.pk}",
        **about_spa(spa),
    )


def _holds(row: Any) -> bool:
    """Whether what the last visit said still stands when the guests arrive."""
    if row.verdict in (None, Verdict.CLOSED_UNTIL_RETEST) or row.holds_until is None:
        return False
    return bool(
        row.holds_until >= row.arrives_at and (row.fit_from is None or row.fit_from <= row.arrives_at)
    )


def _duty_need(spa: Spa, job: DueJob) -> Need:
    row: Any = spa
    if row.coming:
        day = f"{row.coming_on:%A} {row.coming_on.day} {row.coming_on:%B}"
        action, url = f"Put it on the visit of {day}", reverse("visits:plan_edit", args=[row.coming])
    else:
        action, url = "Plan a visit", f"{reverse('visits:plan_new')}?spa={spa.pk}"
    return Need(
        kind=Kind.DUTY,
        urgency=Urgency.THIS_WEEK,
        since=job.on,
        text=f"{TaskKind(job.kind).label}. {job.why} {job.source}.",
        action=action,
        action_url=url,
        **about_spa(spa),
    )
