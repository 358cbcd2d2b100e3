"""Times as people read them: in the zone of the firm or site, weekday first, 24 hours."""

from datetime import date, datetime
from zoneinfo import ZoneInfo


def local_time(moment: datetime, zone: str) -> str:
    """The clock time of an aware ``moment`` in ``zone``.

    >>> from datetime import UTC
    >>> local_time(datetime(2026, 7, 3, 13, 30, tzinfo=UTC), "Europe/London")
    '14:30'
    """
    return f"{moment.astimezone(ZoneInfo(zone)):%H:%M}"


def local_day(moment: datetime | date, zone: str) -> str:
    """The day of an aware ``moment`` in ``zone``; a date stays itself.

    >>> local_day(date(2026, 3, 3), "Europe/London")
    'Tue 3 Mar 2026'
    """
    day = moment.astimezone(ZoneInfo(zone)) if isinstance(moment, datetime) else moment
    return f"{day:%a} {day.day} {day:%b %Y}"


def local_moment(moment: datetime, zone: str) -> str:
    """Day and clock time of an aware ``moment`` in ``zone``.

    >>> from datetime import UTC
    >>> local_moment(datetime(2026, 3, 3, 23, 30, tzinfo=UTC), "Europe/Paris")
    'Wed 4 Mar 2026, 00:30'
    """
    return f"{local_day(moment, zone)}, {local_time(moment, zone)}"
