"""Clock times of a local day as whole seconds from its midnight, and back.

The planner counts seconds that really pass. On the two days a year on which the clocks change, eight
in the morning is seven or nine hours after midnight; that is settled here and nowhere else.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


def seconds_at(day: date, clock: time, zone: ZoneInfo, *, latest: bool = False) -> int:
    """Seconds from local midnight of ``day`` until its clocks show ``clock``.

    A clock time that comes twice, or not at all, may be read in two ways: the earlier one counts,
    or the later one if ``latest``.

    >>> seconds_at(date(2026, 3, 29), time(8), ZoneInfo("Europe/Vaduz")) / 3600
    7.0
    >>> seconds_at(date(2026, 10, 25), time(8), ZoneInfo("Europe/Vaduz")) / 3600
    9.0
    """
    readings = [_moment(day, clock, zone, fold) for fold in (0, 1)]
    moment = max(readings) if latest else min(readings)
    return round((moment - midnight(day, zone)).total_seconds())


def midnight(day: date, zone: ZoneInfo) -> datetime:
    """The moment at which the local day begins, in UTC."""
    return min(_moment(day, time.min, zone, fold) for fold in (0, 1))


def moment_at(day: date, seconds: float, zone: ZoneInfo) -> datetime:
    """The moment so many seconds after local midnight of ``day``.

    >>> moment_at(date(2026, 3, 29), 7 * 3600, ZoneInfo("Europe/Vaduz")).isoformat()
    '2026-03-29T08:00:00+02:00'
    """
    return (midnight(day, zone) + timedelta(seconds=seconds)).astimezone(zone)


def seconds_into(day: date, moment: datetime, zone: ZoneInfo) -> int:
    """Whole seconds from local midnight of ``day`` until an aware moment."""
    return round((moment.astimezone(UTC) - midnight(day, zone)).total_seconds())


def span_of(day: date, opens: time, closes: time, zone: ZoneInfo) -> tuple[int, int]:
    """Seconds from midnight at which a span opens and closes; closing before it opens: the day after."""
    last = day if closes >= opens else day + timedelta(days=1)
    over = round((midnight(last, zone) - midnight(day, zone)).total_seconds())
    return seconds_at(day, opens, zone), over + seconds_at(last, closes, zone, latest=True)


def _moment(day: date, clock: time, zone: ZoneInfo, fold: int) -> datetime:
    return datetime.combine(day, clock.replace(fold=fold), tzinfo=zone).astimezone(UTC)
