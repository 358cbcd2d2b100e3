"""Times as the firm's people read them. Inside everything is UTC; here is the edge."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone

from accounts.models import Organisation

# A phone's clock may run a little ahead of ours.
TOLERANCE = timedelta(minutes=5)


def lies_ahead(moment: datetime | None) -> bool:
    """Whether a moment that somebody gave lies in the future, by more than a phone's clock may be off."""
    return moment is not None and moment > timezone.now() + TOLERANCE


def zone_of(organisation: Organisation) -> ZoneInfo:
    """The zone in which the firm's days begin and its clocks are read."""
    return ZoneInfo(organisation.time_zone)


def day_of(moment: datetime, zone: ZoneInfo) -> date:
    return moment.astimezone(zone).date()


def moment_of(day: date, at: time | None, zone: ZoneInfo) -> datetime:
    """A clock time of a local day; midnight when no time is named."""
    return datetime.combine(day, at or time.min, tzinfo=zone)


def say(moment: datetime, *, now: datetime, zone: ZoneInfo) -> str:
    """A moment as short as today allows.

    >>> from datetime import UTC
    >>> london, now = ZoneInfo("Europe/London"), datetime(2026, 6, 3, 9, 0, tzinfo=UTC)
    >>> say(datetime(2026, 6, 3, 13, 30, tzinfo=UTC), now=now, zone=london)
    '14:30'
    >>> say(datetime(2026, 6, 4, 7, 0, tzinfo=UTC), now=now, zone=london)
    '4 Jun 08:00'
    >>> say(datetime(2025, 6, 4, 7, 0, tzinfo=UTC), now=now, zone=london)
    '4 Jun 2025 08:00'
    """
    local, today = moment.astimezone(zone), day_of(now, zone)
    clock = f"{local:%H:%M}"
    if local.date() == today:
        return clock
    year = "" if local.year == today.year else f" {local.year}"
    return f"{local.day} {local:%b}{year} {clock}"
