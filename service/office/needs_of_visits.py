"""Needs that a visit or a closure makes: retests, missed and open visits."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery
from django.urls import reverse

from service.office.need import Kind, Need, Urgency, about_spa
from service.visits.clock import day_of, moment_of, say
from service.visits.models import (
    ENDED_WITHOUT_SIGNING,
    OPEN_STATES,
    Closure,
    Verdict,
    Visit,
    VisitState,
)

# A visit that did not happen is a matter for today for so long; own choice, no source.
LOOK_BACK_DAYS = 14
# More lines than this help nobody: the oldest come first, the rest follows when they are settled.
MOST = 500
ABOVE = ("spa__site__client",)
_SEALED = ("spa__site__access_code", "spa__site__access_notes")
_NOT_DONE = tuple(
    state for state in ENDED_WITHOUT_SIGNING if state not in (VisitState.CANCELLED, VisitState.HANDED_OVER)
)


def needs_of_closures(now: datetime, zone: ZoneInfo) -> Iterator[Need]:
    """Every spa that is closed; one query."""
    for closure in _closures(now, zone):
        yield _closure_need(closure, now, zone)


def _closures(now: datetime, zone: ZoneInfo) -> QuerySet[Closure]:
    spa = OuterRef("spa")
    last = Visit.objects.filter(spa=spa, state=VisitState.SIGNED).order_by("-ended_at")
    coming = Visit.objects.filter(spa=spa, state__in=OPEN_STATES, planned_on__gte=day_of(now, zone))
    coming = coming.order_by("planned_on", "window_from", "pk")
    return (
        Closure.objects.filter(reopened_at=None, spa__archived_at=None)
        .select_related(*ABOVE)
        .defer(*_SEALED)
        .annotate(
            verdict=Subquery(last.values("verdict")[:1]),
            signed_at=Subquery(last.values("ended_at")[:1]),
            due=Subquery(last.values("retest_due")[:1]),
            coming=Subquery(coming.values("pk")[:1]),
            coming_on=Subquery(coming.values("planned_on")[:1]),
            coming_to=Subquery(coming.values("technician")[:1]),
            coming_name=Subquery(coming.values("technician__name")[:1]),
        )
        .order_by("closed_at", "pk")[:MOST]
    )


def _closure_need(closure: Closure, now: datetime, zone: ZoneInfo) -> Need:
    row: Any = closure
    asked = row.verdict == Verdict.CLOSED_UNTIL_RETEST and row.signed_at >= closure.renewed_at
    due = row.due if asked else None
    overdue = due is not None and due < now
    words = f"Closed since {say(closure.closed_at, now=now, zone=zone)}: {closure.reason.rstrip('.')}."
    if due:
        words += f" Retest {'was due' if overdue else 'due'} {say(due, now=now, zone=zone)}."
    if row.coming:
        words += f" Planned for {_day(row.coming_on)}, {row.coming_name or 'nobody yet'}."
        action, url = "Change that visit", reverse("visits:plan_edit", args=[row.coming])
    else:
        action, url = "Plan the retest", f"{reverse('visits:plan_new')}?spa={closure.spa_id}&kind=retest"
    return Need(
        kind=Kind.RETEST if overdue else Kind.CLOSED,
        urgency=Urgency.NOW,
        since=day_of(due if overdue and due else closure.closed_at, zone),
        text=words,
        action=action,
        action_url=url,
        technician=(str(row.coming_to), row.coming_name) if row.coming_to else None,
        **about_spa(closure.spa),
    )


def needs_of_visits(now: datetime, zone: ZoneInfo) -> Iterator[Need]:
    """Visits that nobody did, that are open from before, or that nobody is sent to today; one query."""
    for visit in _visits(now, zone):
        need = _open_need(visit, now, zone) if visit.is_open else _missed_need(visit, now, zone)
        if need:
            yield need


def _visits(now: datetime, zone: ZoneInfo) -> QuerySet[Visit]:
    today = day_of(now, zone)
    after = Visit.objects.filter(
        Q(planned_on__gt=OuterRef("planned_on"))
        | Q(planned_on=OuterRef("planned_on"), created_at__gt=OuterRef("created_at")),
        spa=OuterRef("spa"),
        state__in=(*OPEN_STATES, VisitState.SIGNED),
    )
    not_done = Visit.objects.filter(
        ~Exists(after),
        state__in=_NOT_DONE,
        planned_on__gte=today - timedelta(days=LOOK_BACK_DAYS),
        planned_on__lte=today,
    )
    still_open = Visit.objects.filter(state__in=OPEN_STATES, planned_on__lte=today)
    # Each of the two is found by its states: no database walks the signed visits for it.
    found = still_open.order_by().values("pk").union(not_done.order_by().values("pk"))
    rows = Visit.objects.filter(pk__in=found, spa__archived_at=None)
    return rows.select_related(*ABOVE, "technician").defer(*_SEALED).order_by("planned_on", "pk")[:MOST]


def _missed_need(visit: Visit, now: datetime, zone: ZoneInfo) -> Need:
    who = visit.technician.name if visit.technician else "nobody"
    return Need(
        kind=Kind.MISSED,
        urgency=Urgency.TODAY,
        since=visit.planned_on,
        text=f"{visit.get_state_display()}, {_day(visit.planned_on)}, {who}: {visit.end_reason.rstrip('.')}.",
        action="Plan it again",
        action_url=f"{reverse('visits:plan_new')}?spa={visit.spa_id}",
        technician=_technician(visit),
        **about_spa(visit.spa),
    )


def _open_need(visit: Visit, now: datetime, zone: ZoneInfo) -> Need | None:
    """None for a visit of today that somebody is on the way to."""
    today = day_of(now, zone)
    from_before = visit.planned_on < today
    late = visit.window_to is not None and moment_of(visit.planned_on, visit.window_to, zone) < now
    unstarted = visit.state == VisitState.PLANNED
    if not from_before and visit.technician and not (late and unstarted):
        return None
    who = visit.technician.name if visit.technician else "Nobody is sent"
    if from_before:
        words = f"{visit.get_state_display()} for {_day(visit.planned_on)} and not ended. {who}."
    elif visit.technician is None:
        words = "Planned for today. Nobody is sent."
    else:
        words = f"Not begun; it was to begin by {visit.window_to:%H:%M} today. {who}."
    if unstarted:
        action, url = "Move or hand over", reverse("visits:plan_edit", args=[visit.pk])
    else:
        action, url = "End or hand over", reverse("visits:plan_hand_over", args=[visit.pk])
    return Need(
        kind=Kind.OPEN,
        urgency=Urgency.TODAY,
        since=visit.planned_on,
        text=words,
        action=action,
        action_url=url,
        technician=_technician(visit),
        **about_spa(visit.spa),
    )


def _technician(visit: Visit) -> tuple[str, str] | None:
    return (str(visit.technician_id), visit.technician.name) if visit.technician else None


def _day(day: date) -> str:
    return f"{day:%A} {day.day} {day:%B}"
