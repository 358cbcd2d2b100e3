"""Needs of single rows: defects, instruments, batches, calendars, runs, people. One query for them all."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import (
    CharField,
    DateField,
    DateTimeField,
    Exists,
    F,
    OuterRef,
    Q,
    QuerySet,
    TextField,
    UUIDField,
    Value,
)
from django.db.models.functions import Cast
from django.urls import reverse

from accounts.models import Person
from accounts.roles import Action
from service.office.need import Kind, Need, Urgency
from service.rounds.models import ChangeoverCalendar, PlannedVisit, PlanState
from service.runs.models import Run, RunState
from service.stock.models import Batch, Instrument
from service.visits.clock import day_of
from service.visits.models import OPEN_STATES, Consent, Defect, Visit

# A run that failed longer ago than this, and that nobody asked for again, is not missed. Own choice.
RUNS_BACK = timedelta(days=7)
PIN_WITHIN = timedelta(days=14)


@dataclass(frozen=True)
class _Found:
    """One row of the query: what each kind says with it stands at the kind."""

    key: UUID
    kind: Kind
    about: str
    where: str
    note: str
    moment: datetime | None
    day: date | None
    other: UUID | None


def needs_of_things(by: Person, now: datetime, zone: ZoneInfo) -> Iterator[Need]:
    """One query, however many kinds there are."""
    today = day_of(now, zone)
    first, *others = _rows(by, now, today)
    for values in first.union(*others, all=True):
        key, kind, *rest = values
        found = _Found(key, Kind(kind), *rest)
        since = found.day or (day_of(found.moment, zone) if found.moment else today)
        yield _NEED_OF[found.kind](found, since, by)


def _rows(by: Person, now: datetime, today: date) -> list[QuerySet[Any, Any]]:
    return [
        *_defects(today),
        *_instruments(today),
        _columns(
            Batch.objects.filter(expires_on__lt=today, archived_at=None, product__archived_at=None),
            Kind.BATCH,
            about="product__name",
            note="code",
            day="expires_on",
            other="product",
        ),
        _unserved(today),
        _columns(
            ChangeoverCalendar.objects.filter(archived_at=None, site__archived_at=None).exclude(error=""),
            Kind.CALENDAR,
            about="name",
            where="site__name",
            note="error",
            moment="fetched_at",
        ),
        _failed(now),
        _without_pin(by, today),
    ]


def _columns(
    rows: QuerySet[Any],
    kind: Kind,
    *,
    about: str,
    where: str = "",
    note: str = "",
    moment: str = "",
    day: str = "",
    other: str = "",
) -> QuerySet[Any, Any]:
    """The same eight columns of the same types, whatever the table: what a UNION needs."""

    def text(name: str) -> Any:
        return Cast(F(name), TextField()) if name else Value("", output_field=TextField())

    def or_none(name: str, field: Any) -> Any:
        return F(name) if name else Cast(Value(None), field)

    columns: QuerySet[Any, Any] = (
        rows.order_by()
        .annotate(
            need_kind=Value(str(kind), output_field=CharField()),
            need_about=text(about),
            need_where=text(where),
            need_note=text(note),
            need_moment=or_none(moment, DateTimeField()),
            need_day=or_none(day, DateField()),
            need_other=or_none(other, UUIDField()),
        )
        .values_list(
            "id",
            "need_kind",
            "need_about",
            "need_where",
            "need_note",
            "need_moment",
            "need_day",
            "need_other",
        )
    )
    return columns


def _defects(today: date) -> list[QuerySet[Any, Any]]:
    rows = Defect.objects.filter(closed_at=None, spa__archived_at=None)
    late = Q(due_on__lt=today)
    named = {"about": "description", "where": "spa__name", "note": "spa__site__name", "moment": "found_at"}
    return [
        _columns(rows.filter(late), Kind.DEFECT, day="due_on", **named),
        _columns(rows.filter(consent=Consent.WAITING).exclude(late), Kind.CONSENT, **named),
    ]


def _instruments(today: date) -> list[QuerySet[Any, Any]]:
    rows = Instrument.objects.filter(archived_at=None)
    return [
        _columns(rows.filter(check_due_on__lt=today), Kind.INSTRUMENT, about="name", day="check_due_on"),
        _columns(
            rows.filter(reagent_expires_on__lt=today),
            Kind.BATCH,
            about="name",
            note="reagent_lot",
            day="reagent_expires_on",
        ),
    ]


def _unserved(today: date) -> QuerySet[Any, Any]:
    """Without a place in a published week that is not over, and not planned by hand since."""
    monday = today - timedelta(days=today.weekday())
    by_hand = Visit.objects.filter(
        spa=OuterRef("spa"),
        created_at__gt=OuterRef("plan__published_at"),
        planned_on__gte=OuterRef("plan__monday"),
    )
    rows = PlannedVisit.objects.filter(
        ~Exists(by_hand), plan__state=PlanState.PUBLISHED, plan__monday__gte=monday, day=None, optional=False
    )
    return _columns(
        rows,
        Kind.UNSERVED,
        about="spa__name",
        where="spa__site__name",
        note="reason",
        day="plan__monday",
        other="spa",
    )


def _failed(now: datetime) -> QuerySet[Any, Any]:
    """Failed, and not done since by another run of the same title."""
    again = Run.objects.filter(
        task=OuterRef("task"), title=OuterRef("title"), created_at__gt=OuterRef("created_at")
    )
    rows = Run.objects.filter(~Exists(again), state=RunState.FAILED, created_at__gte=now - RUNS_BACK)
    return _columns(rows, Kind.RUN, about="title", note="error", moment="finished_at")


def _without_pin(by: Person, today: date) -> QuerySet[Any, Any]:
    visits = Visit.objects.filter(
        technician=OuterRef("pk"), state__in=OPEN_STATES, planned_on__range=(today, today + PIN_WITHIN)
    )
    people = Person.objects.filter(
        Exists(visits), organisation=by.organisation_id, is_active=True, signing_pin=""
    )
    return _columns(people, Kind.PIN, about="name", note="email")


def _of_defect(found: _Found, since: date, by: Person) -> Need:
    late = found.kind == Kind.DEFECT
    words = (
        f"It was to be mended by {_day(since)}."
        if late
        else f"Found on {_day(since)}; the owner has not answered."
    )
    return Need(
        kind=found.kind,
        urgency=Urgency.TODAY if late else Urgency.THIS_WEEK,
        since=since,
        about=found.about,
        where=f"{found.where}, {found.note}",
        text=words,
        action="Settle it or set a new day" if late else "Record the owner's answer",
        action_url=reverse("visits:defect", args=[found.key]),
    )


def _of_instrument(found: _Found, since: date, by: Person) -> Need:
    return Need(
        kind=Kind.INSTRUMENT,
        urgency=Urgency.THIS_WEEK,
        since=since,
        about=found.about,
        text=f"Its check against a standard was due on {_day(since)}: every reading says so.",
        action="Enter the check",
        action_url=reverse("stock:instrument_edit", args=[found.key]),
    )


def _of_batch(found: _Found, since: date, by: Person) -> Need:
    """A product's batch names its product; without one it is an instrument's reagent lot."""
    product = found.other is not None
    named = f"{'Batch' if product else 'Reagent or strip lot'} {found.note}".strip()
    return Need(
        kind=Kind.BATCH,
        urgency=Urgency.THIS_WEEK,
        since=since,
        about=found.about,
        text=f"{named} expired on {_day(since)}: do not use it.",
        action="Take the batch out of use" if product else "Enter the new lot",
        action_url=reverse("stock:batch_archive" if product else "stock:instrument_edit", args=[found.key]),
    )


def _of_unserved(found: _Found, since: date, by: Person) -> Need:
    return Need(
        kind=Kind.UNSERVED,
        urgency=Urgency.TODAY,
        since=since,
        about=found.about,
        url=reverse("visits:spa_history", args=[found.other]),
        where=found.where,
        text=f"In the week of {_day(since)}: {found.note.rstrip('.')}.",
        action="Plan it by hand",
        action_url=f"{reverse('visits:plan_new')}?spa={found.other}",
    )


def _of_calendar(found: _Found, since: date, by: Person) -> Need:
    read = f"Last read on {_day(since)}." if found.moment else "Never read yet."
    return Need(
        kind=Kind.CALENDAR,
        urgency=Urgency.TODAY,
        since=since,
        about=found.about,
        where=found.where,
        text=f"{found.note} {read}",
        action="Mend the calendar",
        action_url=reverse("rounds:calendar", args=[found.key]),
    )


def _of_run(found: _Found, since: date, by: Person) -> Need:
    return Need(
        kind=Kind.RUN,
        urgency=Urgency.TODAY,
        since=since,
        about=found.about,
        text=found.note or "It stopped without saying why.",
        action="See what failed",
        action_url=reverse("runs:run", args=[found.key]),
    )


def _of_pin(found: _Found, since: date, by: Person) -> Need:
    own = found.key == by.pk
    return Need(
        kind=Kind.PIN,
        urgency=Urgency.TODAY,
        since=since,
        about=found.about,
        url=reverse("accounts:person", args=[found.key]) if by.may(Action.MANAGE_PEOPLE) else "",
        text="Has visits in the next two weeks and no PIN to sign them with. Each person chooses their own.",
        action="Choose your PIN" if own else f"Write to {found.about}",
        action_url=reverse("accounts:signing_pin") if own else f"mailto:{found.note}",
        technician=(str(found.key), found.about),
    )


def _day(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


_NEED_OF: dict[Kind, Callable[[_Found, date, Person], Need]] = {
    Kind.DEFECT: _of_defect,
    Kind.CONSENT: _of_defect,
    Kind.INSTRUMENT: _of_instrument,
    Kind.BATCH: _of_batch,
    Kind.UNSERVED: _of_unserved,
    Kind.CALENDAR: _of_calendar,
    Kind.RUN: _of_run,
    Kind.PIN: _of_pin,
}
