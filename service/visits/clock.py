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


def moment_today(at: time, *, now: datetime, since: datetime | None, zone: ZoneInfo) -> datetime:
    """The moment that a clock time typed at work means: today's, or last night's after midnight.

    since  When the work began. The minute in which it began means its beginning, not a moment before.

    >>> from datetime import UTC
    >>> london, began = ZoneInfo("Europe/London"), datetime(2026, 6, 3, 22, 30, 40, tzinfo=UTC)
    >>> now = datetime(2026, 6, 3, 23, 10, tzinfo=UTC)
    >>> [f"{moment_today(time(*at), now=now, since=began, zone=london):%d %H:%M:%S}"
    ...  for at in ((23, 50), (0, 5), (23, 30))]
    ['03 23:50:00', '04 00:05:00', '03 23:30:40']
    """
    today = moment_of(day_of(now, zone), at, zone)
    yesterday = moment_of(day_of(now, zone) - timedelta(days=1), at, zone)
    minute_began = since.replace(second=0, microsecond=0) if since else None
    moment = yesterday if today > now + TOLERANCE and minute_began and yesterday >= minute_began else today
    return since.astimezone(zone) if since and moment == minute_began else moment


def why_not_then(moment: datetime, *, since: datetime | None, zone: ZoneInfo) -> str:
    """Why something cannot have been done at ``moment``; "" when it can. since: when the visit began."""
    now = timezone.now()
    if lies_ahead(moment):
        return f"This cannot lie in the future; it is {say(now, now=now, zone=zone)} now."
    if since and moment < since:
        return f"This lies before the visit began at {say(since, now=now, zone=zone)}."
    return ""


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
