"""Guests' bookings: entered by hand, and taken from calendars."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action
from service.rounds.fetch_feed import plain_address, why_not_an_address
from service.rounds.models import Booking, ChangeoverCalendar
from service.rounds.read_calendar import CalendarContent, Clock, FoundStay, NotACalendar, read_calendar
from service.rounds.round_settings import round_settings
from service.runs.ask import ask_run
from service.runs.models import LIVE_STATES, Run
from service.shell.days import today_at
from service.sites.archive import why_not_in_use
from service.sites.models import Site
from service.sites.saving import add_row, archive_row, change_row, restore_row
from service.visits.clock import zone_of

FETCH_TASK = "rounds.fetch_calendar"
ROWS_AT_ONCE = 500


@dataclass(frozen=True)
class Taken:
    """How many bookings a calendar brought, changed and took away."""

    added: int
    changed: int
    cancelled: int


@transaction.atomic
def add_booking(*, site: Site, by: Person, **fields: Any) -> Booking:
    """A booking by hand: of the whole ``site``, or of one ``spa``. Times are aware.

    Raises NotAllowed; ValidationError by field, or that the site is archived.
    """
    require(by, Action.PLAN_VISITS)
    if reason := why_not_in_use(site):
        raise ValidationError(f"{reason} Bring it back into use first.", code="archived")
    return add_row(Booking(organisation=by.organisation, site=site, **fields), action="booking.added", by=by)


@transaction.atomic
def change_booking(*, booking: Booking, by: Person, **fields: Any) -> Booking:
    """New values of a booking that was entered by hand. Raises NotAllowed; ValidationError by field."""
    require(by, Action.PLAN_VISITS)
    _refuse_from_calendar(booking)
    return change_row(booking, fields, action="booking.changed", by=by)


@transaction.atomic
def cancel_booking(*, booking: Booking, by: Person) -> None:
    """The guests do not come. Cancelling twice keeps the first time. Raises NotAllowed; ValidationError."""
    require(by, Action.PLAN_VISITS)
    _refuse_from_calendar(booking)
    if Booking.objects.filter(pk=booking.pk, cancelled_at=None).update(cancelled_at=timezone.now()):
        record_event(action="booking.cancelled", subject=booking, by=by)


def _refuse_from_calendar(booking: Booking) -> None:
    if booking.calendar_id is not None:
        raise ValidationError("This booking comes from a calendar: change it there.")


@transaction.atomic
def add_calendar(*, site: Site, by: Person, feed_url: str = "", **fields: Any) -> ChangeoverCalendar:
    """A calendar of bookings at ``site``; with a feed address its first fetch is asked for.

    Raises NotAllowed; ValidationError by field, or that the site is archived.
    """
    require(by, Action.PLAN_VISITS)
    if reason := why_not_in_use(site):
        raise ValidationError(f"{reason} Bring it back into use first.", code="archived")
    feed_url = _fetched_from(feed_url)
    calendar = ChangeoverCalendar(organisation=by.organisation, site=site, feed_url=feed_url, **fields)
    add_row(calendar, action="calendar.added", by=by)
    if feed_url:
        ask_fetch(calendar=calendar, by=by)
    return calendar


@transaction.atomic
def change_calendar(*, calendar: ChangeoverCalendar, by: Person, **fields: Any) -> ChangeoverCalendar:
    """New values of a calendar; a new address is fetched anew. The trail never holds the address.

    Raises NotAllowed; ValidationError by field.
    """
    require(by, Action.PLAN_VISITS)
    if "feed_url" in fields:
        fields["feed_url"] = _fetched_from(fields["feed_url"])
    was = calendar.feed_url
    changed = change_row(calendar, fields, action="calendar.changed", by=by)
    if changed.feed_url and changed.feed_url != was:
        ChangeoverCalendar.objects.filter(pk=changed.pk).update(etag="", error="")
        ask_fetch(calendar=changed, by=by)
    return changed


def _fetched_from(feed_url: str) -> str:
    """A typed address as it is fetched. Raises ValidationError at the field."""
    address = plain_address(feed_url)
    if address and (why := why_not_an_address(address)):
        raise ValidationError({"feed_url": why})
    return address


@transaction.atomic
def archive_calendar(*, calendar: ChangeoverCalendar, by: Person) -> None:
    """Read it no more, and count its bookings no more. Raises NotAllowed."""
    require(by, Action.PLAN_VISITS)
    archive_row(calendar, by=by)


@transaction.atomic
def restore_calendar(*, calendar: ChangeoverCalendar, by: Person) -> None:
    """Bring a calendar back into use. Raises NotAllowed."""
    require(by, Action.PLAN_VISITS)
    restore_row(calendar, by=by)


@transaction.atomic
def ask_fetch(*, calendar: ChangeoverCalendar, by: Person) -> Run:
    """Ask for a feed to be fetched now; one that is already asked for is not asked for twice.

    Raises NotAllowed; ValidationError when the calendar has no address.
    """
    require(by, Action.PLAN_VISITS)
    if not calendar.feed_url:
        raise ValidationError("This calendar has no address to fetch: upload a file instead.")
    return fetch_run(calendar, by=by)


@transaction.atomic
def fetch_run(calendar: ChangeoverCalendar, *, by: Person | None) -> Run:
    """The run that fetches the feed: the one that waits or runs already, else a new one."""
    arguments = {"calendar": str(calendar.pk)}
    live = Run.objects.filter(
        organisation=calendar.organisation_id, task=FETCH_TASK, state__in=LIVE_STATES, arguments=arguments
    )
    return live.first() or ask_run(
        task=FETCH_TASK,
        arguments=arguments,
        title=f"Bookings of {calendar.name}",
        by=by,
        organisation=calendar.organisation,
    )


@transaction.atomic
def take_file(*, calendar: ChangeoverCalendar, data: bytes, by: Person) -> Taken:
    """Take the bookings of an uploaded calendar file.

    Raises NotAllowed; ValidationError at "file" when it is no calendar.
    """
    require(by, Action.PLAN_VISITS)
    try:
        return take_calendar(calendar, data, by=by)
    except NotACalendar as refused:
        raise ValidationError({"file": str(refused)}) from refused


@transaction.atomic
def take_calendar(calendar: ChangeoverCalendar, data: bytes, *, by: Person | None, etag: str = "") -> Taken:
    """Make a calendar's bookings those that ``data`` holds. Needs ``organisation`` loaded.

    A stay that is no longer there and was still to come counts as cancelled; one that has begun is
    kept, because feeds drop what is past. An older version never replaces a newer one.

    Raises NotACalendar; nothing is changed then.
    """
    now = timezone.now()
    content = read_calendar(data, clock=clock_of(calendar), today=today_at(calendar.organisation))
    # One reader after the other: two fetches of one feed would add everything twice.
    ChangeoverCalendar.objects.select_for_update().get(pk=calendar.pk)
    taken = _take(calendar, content, now)
    ChangeoverCalendar.objects.filter(pk=calendar.pk).update(
        fetched_at=now, tried_at=now, error="", remarks=content.remarks, etag=etag
    )
    detail = {"added": taken.added, "changed": taken.changed, "cancelled": taken.cancelled}
    record_event(action="calendar.read", subject=calendar, by=by, detail=detail)
    return taken


def clock_of(calendar: ChangeoverCalendar) -> Clock:
    """How the calendar's days and floating times are read: its own hours, else the firm's."""
    settings = round_settings(calendar.organisation)
    return Clock(
        zone_of(calendar.organisation),
        calendar.guests_leave_by or settings.guests_leave_by,
        calendar.guests_arrive_from or settings.guests_arrive_from,
    )


def _take(calendar: ChangeoverCalendar, content: CalendarContent, now: datetime) -> Taken:
    stored = {(row.uid, row.recurrence): row for row in Booking.objects.filter(calendar=calendar)}
    found = {(stay.uid, stay.recurrence): stay for stay in content.stays}
    new = [
        _booking(calendar, stay) for key, stay in found.items() if key not in stored and not stay.cancelled
    ]
    changed = [
        row
        for key, row in stored.items()
        if (stay := found.get(key)) and not _is_older(stay, row) and _follow(row, stay, calendar, now)
    ]
    gone = [
        row
        for key, row in stored.items()
        if key not in found and row.cancelled_at is None and row.arrives_at > now
    ]
    for row in gone:
        row.cancelled_at = now
    Booking.objects.bulk_create(new, batch_size=ROWS_AT_ONCE)
    fields = ["site", "spa", "arrives_at", "leaves_at", "sequence", "stamped_at", "cancelled_at"]
    Booking.objects.bulk_update([*changed, *gone], fields, batch_size=ROWS_AT_ONCE)
    dropped = sum(row.cancelled_at == now for row in changed)
    return Taken(len(new), len(changed) - dropped, len(gone) + dropped)


def _booking(calendar: ChangeoverCalendar, stay: FoundStay) -> Booking:
    return Booking(
        organisation_id=calendar.organisation_id,
        calendar=calendar,
        site_id=calendar.site_id,
        spa_id=calendar.spa_id,
        uid=stay.uid,
        recurrence=stay.recurrence,
        sequence=stay.sequence,
        stamped_at=stay.stamped_at,
        arrives_at=stay.arrives_at,
        leaves_at=stay.leaves_at,
    )


def _is_older(stay: FoundStay, row: Booking) -> bool:
    """Of an older version (RFC 5545, 3.8.7.4); of two of one number the earlier written (3.8.7.2)."""
    if stay.sequence != row.sequence or stay.stamped_at is None or row.stamped_at is None:
        return stay.sequence < row.sequence
    return stay.stamped_at < row.stamped_at


def _follow(row: Booking, stay: FoundStay, calendar: ChangeoverCalendar, now: datetime) -> bool:
    """Give ``row`` what ``stay`` says. Returns whether a time, the place or the cancelling differs."""
    was = (row.arrives_at, row.leaves_at, row.spa_id, row.cancelled_at is None)
    row.arrives_at, row.leaves_at = stay.arrives_at, stay.leaves_at
    row.site_id, row.spa_id = calendar.site_id, calendar.spa_id
    row.sequence, row.stamped_at = stay.sequence, stay.stamped_at
    if not stay.cancelled:
        row.cancelled_at = None
    elif row.cancelled_at is None:
        row.cancelled_at = now
    return was != (row.arrives_at, row.leaves_at, row.spa_id, row.cancelled_at is None)
