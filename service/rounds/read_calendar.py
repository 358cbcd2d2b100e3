"""Stays of guests in a calendar file (RFC 5545). Reads bytes, touches no database.

What a booking program writes is read; who the guests are is not: summaries and descriptions are
left in the file.
"""

import threading
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from icalendar import Calendar, Component
from icalendar.timezone import tzp

from service.rounds.event_values import (
    instance_name,
    is_broken,
    is_cancelled,
    named,
    recurrence_of,
    replaces_later_ones,
    sequence_of,
    stamp_of,
    uid_of,
    value_of,
    version_of,
)
from service.rounds.models.calendars import EARLIEST_STAY, LATEST_STAY
from service.rounds.repeating_events import DAYS_AHEAD, DAYS_BACK, instances, is_combined, repeats

MEGABYTE = 1024 * 1024
MOST_BYTES = 8 * MEGABYTE
MOST_EVENTS = 20_000
MOST_REPEATING, MOST_COMBINED = 50, 10

_GZIP = b"\x1f\x8b"
# The library keeps the zones that calendars describe for the whole process, by their names.
_ONE_AT_A_TIME = threading.Lock()


class NotACalendar(ValueError):  # noqa: N818
    """What was given cannot be read as a calendar; the message says why, for a person."""


@dataclass(frozen=True)
class Clock:
    """How times without a zone, and days without a time, are read.

    zone  Of the site: floating times are on its clock (RFC 5545, 3.3.5, form 1).
    """

    zone: ZoneInfo
    leave_by: time
    arrive_from: time


@dataclass(frozen=True)
class FoundStay:
    """One stay. recurrence tells the instances of one repeating event apart; "" for a single one."""

    uid: str
    recurrence: str
    sequence: int
    stamped_at: datetime | None
    arrives_at: datetime
    leaves_at: datetime
    cancelled: bool


@dataclass(frozen=True)
class CalendarContent:
    """stays: in the order of their arrival. remarks: in words, what was left out and why."""

    stays: list[FoundStay]
    remarks: list[str]


_Found = dict[tuple[str, str], FoundStay]


def read_calendar(data: bytes, *, clock: Clock, today: date) -> CalendarContent:
    """The stays in a calendar from ``DAYS_BACK`` before ``today`` to ``DAYS_AHEAD`` after it.

    An event that is there twice counts as last written: the highest SEQUENCE, then the latest
    DTSTAMP (RFC 5545, 3.8.7.2 and 3.8.7.4). What cannot be read of it is left out and said.
    Raises NotACalendar.
    """
    remarks: list[str] = []
    newest = _newest(_parsed(data), clock.zone, remarks)
    found: _Found = {}
    repeating = combined = 0
    # A repeating event before those that replace an instance of it, these in the order of time.
    for event in sorted(newest.values(), key=lambda event: recurrence_of(event, clock.zone)):
        repeating += repeats(event)
        if repeats(event) and repeating > MOST_REPEATING:
            remarks.append(f"More than {MOST_REPEATING} repeating events: {named(event)} is left out.")
            continue
        combined += is_combined(event)
        if is_combined(event) and combined > MOST_COMBINED:
            remarks.append(f"More than {MOST_COMBINED} events with long rules: {named(event)} is left out.")
            continue
        try:
            found |= _stays(event, found, newest, clock, today, remarks)
        except (ValueError, OverflowError, TypeError):
            remarks.append(f"{named(event)} cannot be read and is left out.")
    if not newest and not remarks:
        remarks.append("There is no event in it.")
    in_range = [stay for stay in found.values() if _is_in_range(stay)]
    if len(in_range) < len(found):
        remarks.append("Stays before the year 1900 or after 2100 are left out.")
    near = [stay for stay in in_range if _is_near(stay, today)]
    near.sort(key=lambda stay: (stay.arrives_at, stay.uid, stay.recurrence))
    return CalendarContent(near, _few(remarks))


def _parsed(data: bytes) -> list[Calendar]:
    """The calendars of a stream: mostly one, but there may be several (3.4)."""
    data = _unpacked(data)
    if len(data) > MOST_BYTES:
        raise NotACalendar(f"It is larger than {MOST_BYTES // MEGABYTE} MB, the most that is read.")
    if b"BEGIN:VCALENDAR" not in data[:4096].upper():
        raise NotACalendar("This is not a calendar: an iCalendar file begins with BEGIN:VCALENDAR.")
    if b"\n" not in data:
        data = data.replace(b"\r", b"\n")
    try:
        with _ONE_AT_A_TIME:
            tzp.use_default()
            found = Calendar.from_ical(data, multiple=True)
    except (ValueError, IndexError, KeyError) as problem:
        raise NotACalendar(f"The calendar cannot be read: {str(problem)[:150]}") from problem
    calendars = [component for component in found if isinstance(component, Calendar)]
    if not calendars:
        raise NotACalendar("The calendar cannot be read: it breaks off before END:VCALENDAR.")
    return calendars


def _unpacked(data: bytes) -> bytes:
    """What a gzip file holds, no more than can be read of it; anything else as it is."""
    if not data.startswith(_GZIP):
        return data
    try:
        return zlib.decompressobj(wbits=31).decompress(data, MOST_BYTES + 1)
    except zlib.error as problem:
        raise NotACalendar("It is packed, and cannot be unpacked.") from problem


def _newest(
    calendars: list[Calendar], zone: ZoneInfo, remarks: list[str]
) -> dict[tuple[str, str], Component]:
    """The last written version of each event; in a calendar that cancels, as a cancelled one."""
    newest: dict[tuple[str, str], Component] = {}
    number = 0
    for calendar in calendars:
        cancels = str(calendar.get("METHOD", "")).upper() == "CANCEL"
        for event in calendar.walk("VEVENT"):
            number += 1
            if number > MOST_EVENTS:
                raise NotACalendar(f"It holds more than {MOST_EVENTS:,} events, the most that are read.")
            if is_broken(event):
                remarks.append(f"{named(event)} has a date or time that cannot be read, and is left out.")
                continue
            if cancels:
                event["STATUS"] = "CANCELLED"
            key = (uid_of(event), recurrence_of(event, zone))
            if key not in newest or version_of(event) >= version_of(newest[key]):
                newest[key] = event
    return newest


def _stays(
    event: Component,
    found: _Found,
    newest: Mapping[tuple[str, str], Component],
    clock: Clock,
    today: date,
    remarks: list[str],
) -> _Found:
    """The stays of one event. found: those of the events before it."""
    own = recurrence_of(event, clock.zone)
    if not own:
        return {(stay.uid, stay.recurrence): stay for stay in _own_stays(event, clock, today, remarks)}
    key = _instance_of(found, (uid_of(event), own), clock.zone)
    was = found.get(key)
    whole = newest.get((key[0], ""))
    if "DTSTART" not in event and is_cancelled(event):
        stay = replace(was, cancelled=True) if was else None
    else:
        stay = next(_own_stays(event, clock, today, remarks), None)
    if stay is None:
        return {}
    stay = replace(stay, recurrence=key[1])
    if whole is not None and is_cancelled(whole) and sequence_of(whole) >= sequence_of(event):
        stay = replace(stay, cancelled=True)
    later = _later(found, was, stay, clock.zone) if was and replaces_later_ones(event) else {}
    return {key: stay, **later}


def _instance_of(found: _Found, key: tuple[str, str], zone: ZoneInfo) -> tuple[str, str]:
    """The instance that is meant: some programs name one that begins at a time by its day alone."""
    uid, day = key
    if key in found or len(day) != len("YYYYMMDD"):
        return key
    on_day = (other for other in found if other[0] == uid and _day_named(other[1], zone) == day)
    return next(on_day, key)


def _day_named(instance: str, zone: ZoneInfo) -> str:
    """The day of an instance that is named by a time, on the clock of ``zone``; "" for any other."""
    try:
        moment = datetime.strptime(instance, "%Y%m%dT%H%M%S").replace(tzinfo=UTC)
    except ValueError:
        return ""
    return f"{moment.astimezone(zone):%Y%m%d}"


def _later(found: _Found, was: FoundStay, stay: FoundStay, zone: ZoneInfo) -> _Found:
    """The instances after the one that ``stay`` replaces, moved as far on the clock and as long as it."""

    def on_clock(moment: datetime) -> datetime:
        return moment.astimezone(zone).replace(tzinfo=None)

    moved = on_clock(stay.arrives_at) - on_clock(was.arrives_at)
    lasts = on_clock(stay.leaves_at) - on_clock(stay.arrives_at)
    changed = {}
    for key, other in found.items():
        if other.uid == was.uid and other.recurrence > was.recurrence:
            arrives = on_clock(other.arrives_at) + moved
            changed[key] = replace(
                other,
                sequence=stay.sequence,
                stamped_at=stay.stamped_at,
                arrives_at=arrives.replace(tzinfo=zone).astimezone(UTC),
                leaves_at=(arrives + lasts).replace(tzinfo=zone).astimezone(UTC),
                cancelled=stay.cancelled,
            )
    return changed


def _own_stays(event: Component, clock: Clock, today: date, remarks: list[str]) -> Iterator[FoundStay]:
    start = value_of(event, "DTSTART")
    if start is None:
        remarks.append(f"{named(event)} has no beginning and is left out.")
        return
    start = _placed(event, start, clock, remarks)
    end = _end(event, start, clock, remarks)
    if end is None:
        return
    own = recurrence_of(event, clock.zone)
    if own or not repeats(event):
        yield _stay(event, own, start, end, clock)
        return
    for instance in instances(event, start, clock.zone, today, remarks):
        recurrence = instance_name(instance, clock.zone)
        yield _stay(event, recurrence, instance, _moved(end, start, instance), clock)


def _placed(event: Component, value: Any, clock: Clock, remarks: list[str]) -> Any:
    """A floating time put on the clock of the site; a zone that nobody knows is said."""
    if not isinstance(value, datetime) or value.tzinfo is not None:
        return value
    zone = event["DTSTART"].params.get("TZID")
    if zone:
        remarks.append(f"The time zone {zone} is not known: times are read on the clock of the site.")
    return value.replace(tzinfo=clock.zone)


def _end(event: Component, start: Any, clock: Clock, remarks: list[str]) -> Any:
    """DTEND, or the beginning and DURATION; a whole day without either ends with it (3.6.1)."""
    end = value_of(event, "DTEND")
    lasts = value_of(event, "DURATION")
    if end is not None:
        end = _placed(event, end, clock, [])
    elif lasts is not None:
        end = _after(start, lasts)
    elif not isinstance(start, datetime):
        end = start + timedelta(days=1)
    if end is None or isinstance(end, datetime) != isinstance(start, datetime) or end <= start:
        remarks.append(f"{named(event)} does not end after it begins and is left out.")
        return None
    return end


def _after(start: Any, lasts: timedelta) -> Any:
    """Days are days of the calendar, hours are hours that pass, also when clocks change (3.3.6)."""
    if not isinstance(start, datetime):
        return start + timedelta(days=lasts.days)
    days, rest = timedelta(days=lasts.days), lasts - timedelta(days=lasts.days)
    return ((start + days).astimezone(UTC) + rest).astimezone(start.tzinfo)


def _stay(event: Component, recurrence: str, start: Any, end: Any, clock: Clock) -> FoundStay:
    return FoundStay(
        uid=uid_of(event),
        recurrence=recurrence,
        sequence=sequence_of(event),
        stamped_at=stamp_of(event),
        arrives_at=_moment(start, clock.arrive_from, clock.zone),
        leaves_at=_moment(end, clock.leave_by, clock.zone),
        cancelled=is_cancelled(event),
    )


def _moment(value: date | datetime, at: time, zone: ZoneInfo) -> datetime:
    """A day becomes a time of that day; the day of DTEND is the one on which guests leave."""
    if isinstance(value, datetime):
        return value.astimezone(UTC)
    return datetime.combine(value, at, zone).astimezone(UTC)


def _moved(end: Any, start: Any, instance: Any) -> Any:
    """The end of an instance: as long after its beginning, on the clock, as the first one's."""
    if isinstance(start, datetime):
        length = end.replace(tzinfo=None) - start.replace(tzinfo=None)
        return instance + length
    return instance + (end - start)


def _is_in_range(stay: FoundStay) -> bool:
    return stay.arrives_at >= EARLIEST_STAY and stay.leaves_at < LATEST_STAY


def _is_near(stay: FoundStay, today: date) -> bool:
    first, last = today - timedelta(DAYS_BACK), today + timedelta(DAYS_AHEAD)
    return stay.leaves_at.date() >= first and stay.arrives_at.date() <= last


def _few(remarks: list[str]) -> list[str]:
    """Each once, and not a whole page of them."""
    once = list(dict.fromkeys(remarks))
    return once if len(once) <= 20 else [*once[:20], f"And {len(once) - 20} more."]
