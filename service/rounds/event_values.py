"""The values of one event of a calendar (RFC 5545): never an error, None for what cannot be read."""

from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from icalendar import Component
from icalendar.prop.broken import vBroken

_DATED = ("DTSTART", "DTEND", "DURATION", "RECURRENCE-ID")


def value_of(event: Component, name: str) -> Any:
    """The date, time or duration of a property; None when it is missing, or there twice."""
    found = event.get(name)
    return None if isinstance(found, vBroken) else getattr(found, "dt", None)


def is_broken(event: Component) -> bool:
    """Whether a date, time or duration that is there cannot be read."""
    return any(event.get(name) is not None and value_of(event, name) is None for name in _DATED)


def uid_of(event: Component) -> str:
    """What tells events apart; one without UID is told apart by its own dates."""
    return str(event.get("UID", "") or f"{_text(event, 'DTSTART')}/{_text(event, 'DTEND')}")[:255]


def _text(event: Component, name: str) -> str:
    value = event.get(name)
    return value.to_ical().decode() if value is not None and hasattr(value, "to_ical") else ""


def recurrence_of(event: Component, zone: ZoneInfo) -> str:
    """Which instance of a repeating event this one replaces (RECURRENCE-ID, 3.8.4.4)."""
    value = value_of(event, "RECURRENCE-ID")
    return instance_name(value, zone) if value is not None else ""


def replaces_later_ones(event: Component) -> bool:
    """Whether it replaces the instances after it as well (RANGE=THISANDFUTURE, 3.2.13)."""
    found = event.get("RECURRENCE-ID")
    return str(getattr(found, "params", {}).get("RANGE", "")).upper() == "THISANDFUTURE"


def instance_name(start: date | datetime, zone: ZoneInfo) -> str:
    """An instance by its beginning; a floating one on the clock of ``zone``. In the order of time."""
    if isinstance(start, datetime):
        moment = start if start.tzinfo else start.replace(tzinfo=zone)
        return f"{moment.astimezone(UTC):%Y%m%dT%H%M%S}"
    return f"{start:%Y%m%d}"


def version_of(event: Component) -> tuple[int, str]:
    """Of two versions of an event the greater is the newer (3.8.7.4, then 3.8.7.2)."""
    stamp = stamp_of(event)
    return sequence_of(event), stamp.isoformat() if stamp else ""


def sequence_of(event: Component) -> int:
    """SEQUENCE; 0 when it is missing or no number."""
    try:
        return min(max(int(event.get("SEQUENCE", 0)), 0), 2**31 - 1)
    except (TypeError, ValueError):
        return 0


def stamp_of(event: Component) -> datetime | None:
    """DTSTAMP in UTC."""
    stamp = value_of(event, "DTSTAMP")
    if not isinstance(stamp, datetime):
        return None
    return stamp.astimezone(UTC) if stamp.tzinfo else stamp.replace(tzinfo=UTC)


def is_cancelled(event: Component) -> bool:
    """STATUS:CANCELLED (3.8.1.11)."""
    return str(event.get("STATUS", "")).upper() == "CANCELLED"


def named(event: Component) -> str:
    """An event as a remark says it."""
    start = value_of(event, "DTSTART")
    return f"The event of {start:%Y-%m-%d}" if start else "An event"
