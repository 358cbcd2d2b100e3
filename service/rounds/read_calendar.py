"""Stays of guests in a calendar file (RFC 5545). Reads bytes, touches no database.

What a booking program writes is read; who the guests are is not: summaries and descriptions are
left in the file.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import chain, islice
from typing import Any
from zoneinfo import ZoneInfo

from dateutil.rrule import rrulestr
from icalendar import Calendar, Component

MOST_BYTES = 2 * 1024 * 1024
MOST_EVENTS = 20_000
MOST_REPEATING = 50
MOST_INSTANCES = 500
MOST_STEPS = 20_000
DAYS_BACK = 60
DAYS_AHEAD = 540
"""Stays that ended, or begin, further away are not kept. Own choice, no source."""

_READ_RULE_PARTS = {"FREQ", "INTERVAL", "COUNT", "UNTIL", "BYDAY", "BYMONTH", "BYMONTHDAY", "WKST"}
_READ_FREQUENCIES = {"DAILY", "WEEKLY", "MONTHLY", "YEARLY"}


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


def read_calendar(data: bytes, *, clock: Clock, today: date) -> CalendarContent:
    """The stays in a calendar from ``DAYS_BACK`` before ``today`` to ``DAYS_AHEAD`` after it.

    An event that is there twice counts as last written: the highest SEQUENCE, then the latest
    DTSTAMP (RFC 5545, 3.8.7.2 and 3.8.7.4). Raises NotACalendar.
    """
    calendar = _parsed(data)
    remarks: list[str] = []
    newest = _newest(calendar, clock.zone)
    all_cancelled = str(calendar.get("METHOD", "")).upper() == "CANCEL"
    found: dict[tuple[str, str], FoundStay] = {}
    repeating = 0
    for event in sorted(newest.values(), key=_moved_last):
        repeating += "RRULE" in event
        if "RRULE" in event and repeating > MOST_REPEATING:
            remarks.append(f"More than {MOST_REPEATING} repeating events: {_named(event)} is left out.")
            continue
        for stay in _stays(event, clock, today, remarks):
            kept = stay if not all_cancelled else _cancelled(stay)
            found[(kept.uid, kept.recurrence)] = kept
    near = [stay for stay in found.values() if _is_near(stay, today)]
    near.sort(key=lambda stay: (stay.arrives_at, stay.uid, stay.recurrence))
    return CalendarContent(near, _few(remarks))


def _parsed(data: bytes) -> Calendar:
    if len(data) > MOST_BYTES:
        raise NotACalendar(f"It is larger than {MOST_BYTES // 1024 // 1024} MB, the most that is read.")
    if b"BEGIN:VCALENDAR" not in data[:4096].upper():
        raise NotACalendar("This is not a calendar: an iCalendar file begins with BEGIN:VCALENDAR.")
    try:
        calendar = Calendar.from_ical(data)
    except (ValueError, IndexError, KeyError) as problem:
        raise NotACalendar(f"The calendar cannot be read: {str(problem)[:150]}") from problem
    if not isinstance(calendar, Calendar):
        raise NotACalendar("This is not a calendar: an iCalendar file begins with BEGIN:VCALENDAR.")
    return calendar


def _newest(calendar: Calendar, zone: ZoneInfo) -> dict[tuple[str, str], Component]:
    """The last written version of each event; one without UID is told apart by its own text."""
    newest: dict[tuple[str, str], Component] = {}
    for number, event in enumerate(calendar.walk("VEVENT")):
        if number >= MOST_EVENTS:
            raise NotACalendar(f"It holds more than {MOST_EVENTS:,} events, the most that are read.")
        key = (_uid(event), _recurrence_of(event, zone))
        if key not in newest or _version(event) >= _version(newest[key]):
            newest[key] = event
    return newest


def _uid(event: Component) -> str:
    return str(event.get("UID", "") or f"{_text(event, 'DTSTART')}/{_text(event, 'DTEND')}")[:255]


def _text(event: Component, name: str) -> str:
    value = event.get(name)
    return value.to_ical().decode() if value is not None and hasattr(value, "to_ical") else ""


def _recurrence_of(event: Component, zone: ZoneInfo) -> str:
    """Which instance of a repeating event this one replaces (RECURRENCE-ID, 3.8.4.4)."""
    value = _value(event, "RECURRENCE-ID")
    return _instance(value, zone) if value is not None else ""


def _instance(start: date | datetime, zone: ZoneInfo) -> str:
    if isinstance(start, datetime):
        moment = start if start.tzinfo else start.replace(tzinfo=zone)
        return f"{moment.astimezone(UTC):%Y%m%dT%H%M%S}"
    return f"{start:%Y%m%d}"


def _version(event: Component) -> tuple[int, str]:
    stamp = _stamp(event)
    return _sequence(event), stamp.isoformat() if stamp else ""


def _sequence(event: Component) -> int:
    try:
        return min(max(int(event.get("SEQUENCE", 0)), 0), 2**31 - 1)
    except (TypeError, ValueError):
        return 0


def _stamp(event: Component) -> datetime | None:
    stamp = _value(event, "DTSTAMP")
    if not isinstance(stamp, datetime):
        return None
    return stamp.astimezone(UTC) if stamp.tzinfo else stamp.replace(tzinfo=UTC)


def _value(event: Component, name: str) -> Any:
    return getattr(event.get(name), "dt", None)


def _moved_last(event: Component) -> bool:
    return "RECURRENCE-ID" in event


def _stays(event: Component, clock: Clock, today: date, remarks: list[str]) -> Iterator[FoundStay]:
    start = _value(event, "DTSTART")
    if start is None:
        remarks.append(f"{_named(event)} has no beginning and is left out.")
        return
    start = _placed(event, start, clock, remarks)
    end = _end(event, start, clock, remarks)
    if end is None:
        return
    own = _recurrence_of(event, clock.zone)
    if "RRULE" not in event or own:
        yield _stay(event, own, start, end, clock)
        return
    for instance in _instances(event, start, clock.zone, today, remarks):
        recurrence = _instance(instance, clock.zone)
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
    end = _value(event, "DTEND")
    lasts = _value(event, "DURATION")
    if end is not None:
        end = _placed(event, end, clock, [])
    elif lasts is not None:
        end = _after(start, lasts)
    elif not isinstance(start, datetime):
        end = start + timedelta(days=1)
    if end is None or isinstance(end, datetime) != isinstance(start, datetime) or end <= start:
        remarks.append(f"{_named(event)} does not end after it begins and is left out.")
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
        uid=_uid(event),
        recurrence=recurrence,
        sequence=_sequence(event),
        stamped_at=_stamp(event),
        arrives_at=_moment(start, clock.arrive_from, clock.zone),
        leaves_at=_moment(end, clock.leave_by, clock.zone),
        cancelled=str(event.get("STATUS", "")).upper() == "CANCELLED",
    )


def _moment(value: date | datetime, at: time, zone: ZoneInfo) -> datetime:
    """A day becomes a time of that day; the day of DTEND is the one on which guests leave."""
    if isinstance(value, datetime):
        return value.astimezone(UTC)
    return datetime.combine(value, at, zone).astimezone(UTC)


def _instances(
    event: Component, start: Any, zone: ZoneInfo, today: date, remarks: list[str]
) -> Iterator[Any]:
    """When a repeating event begins, up to DAYS_AHEAD: by RRULE and RDATE, without EXDATE."""
    rule = event["RRULE"]
    if isinstance(rule, list) or not _is_read(rule):
        remarks.append(
            f"{_named(event)} repeats in a way that is not read here; only its first stay is kept."
        )
        yield start
        return
    gone = {_instance(item, zone) for item in _dates(event, "EXDATE")}
    counted = 0
    for instance in chain(_by_rule(rule, start, today), _dates(event, "RDATE")[:MOST_INSTANCES]):
        if _instance(instance, zone) in gone or isinstance(instance, datetime) != isinstance(start, datetime):
            continue
        counted += 1
        if counted > MOST_INSTANCES:
            remarks.append(f"{_named(event)} repeats more than {MOST_INSTANCES} times; the rest is left out.")
            return
        yield instance if _is_whole(instance) else instance.replace(tzinfo=instance.tzinfo or zone)


def _by_rule(rule: Any, start: Any, today: date) -> Iterator[Any]:
    """What RRULE gives from twice DAYS_BACK before today on, on the clock of the event's own zone."""
    first = datetime.combine(start, time.min) if _is_whole(start) else start
    parts = rule.to_ical().decode().split(";")
    text = ";".join(part for part in parts if not part.upper().startswith("UNTIL="))
    until, last = _until(rule, start), today + timedelta(DAYS_AHEAD)
    since = today - timedelta(2 * DAYS_BACK)
    for moment in islice(rrulestr(text, dtstart=first), MOST_STEPS):
        instance = moment.date() if _is_whole(start) else moment
        if moment.date() > last or (until is not None and instance > until):
            return
        if moment.date() >= since:
            yield instance


def _is_whole(value: date | datetime) -> bool:
    return not isinstance(value, datetime)


def _dates(event: Component, name: str) -> list[Any]:
    """The dates of all lines of one name; periods are left out."""
    lines = event.get(name)
    listed = lines if isinstance(lines, list) else [lines] if lines is not None else []
    return [item.dt for line in listed for item in line.dts if isinstance(item.dt, date)]


def _is_read(rule: Any) -> bool:
    """Rules of whole days. One that might never come again is not followed to the end of time."""
    parts = {str(name).upper() for name in rule}
    frequency = str(rule.get("FREQ", [""])[0]).upper()
    if not parts <= _READ_RULE_PARTS or frequency not in _READ_FREQUENCIES:
        return False
    narrowed = parts & {"BYDAY", "BYMONTH", "BYMONTHDAY"}
    strides = int(rule.get("INTERVAL", [1])[0]) > 1
    return not (narrowed and strides and frequency == "DAILY") and len(narrowed) < 2


def _until(rule: Any, start: Any) -> Any:
    until = rule.get("UNTIL", [None])[0]
    if until is None:
        return None
    if not isinstance(start, datetime):
        return until.date() if isinstance(until, datetime) else until
    if not isinstance(until, datetime):
        until = datetime.combine(until, time.max)
    return until if until.tzinfo else until.replace(tzinfo=start.tzinfo)


def _moved(end: Any, start: Any, instance: Any) -> Any:
    """The end of an instance: as long after its beginning, on the clock, as the first one's."""
    if isinstance(start, datetime):
        length = end.replace(tzinfo=None) - start.replace(tzinfo=None)
        return instance + length
    return instance + (end - start)


def _cancelled(stay: FoundStay) -> FoundStay:
    return FoundStay(**{**stay.__dict__, "cancelled": True})


def _is_near(stay: FoundStay, today: date) -> bool:
    first, last = today - timedelta(DAYS_BACK), today + timedelta(DAYS_AHEAD)
    return stay.leaves_at.date() >= first and stay.arrives_at.date() <= last


def _named(event: Component) -> str:
    start = _value(event, "DTSTART")
    return f"The event of {start:%Y-%m-%d}" if start else "An event"


def _few(remarks: list[str]) -> list[str]:
    """Each once, and not a whole page of them."""
    once = list(dict.fromkeys(remarks))
    return once if len(once) <= 20 else [*once[:20], f"And {len(once) - 20} more."]
