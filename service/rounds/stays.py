"""When guests stay at a spa, when nobody does, and where one group leaves. Local clock times."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

LAST_MINUTE = 24 * 60 - 1


@dataclass(frozen=True)
class Stay:
    """Guests are there from ``arrives`` to ``leaves``: naive, on the clock of the site."""

    arrives: datetime
    leaves: datetime


@dataclass(frozen=True)
class Changeover:
    """A group leaves; the next arrives at ``arrives``, None when no booking follows."""

    leaves: datetime
    arrives: datetime | None


@dataclass(frozen=True)
class Starts:
    """A visit of the asked length may start from ``opens`` to ``closes``, both included."""

    opens: time
    closes: time


def merged(stays: Iterable[Stay]) -> list[Stay]:
    """Stays in order, those that overlap as one: between them nobody leaves the house empty."""
    joined: list[Stay] = []
    for stay in sorted(stays, key=lambda stay: (stay.arrives, stay.leaves)):
        if joined and stay.arrives < joined[-1].leaves:
            joined[-1] = Stay(joined[-1].arrives, max(joined[-1].leaves, stay.leaves))
        else:
            joined.append(stay)
    return joined


def overlaps(stays: Iterable[Stay]) -> list[tuple[Stay, Stay]]:
    """Each stay that begins before one of those before it ends, after the one that ends last."""
    found: list[tuple[Stay, Stay]] = []
    last: Stay | None = None
    for stay in sorted(stays, key=lambda stay: (stay.arrives, stay.leaves)):
        if last is not None and stay.arrives < last.leaves:
            found.append((last, stay))
        if last is None or stay.leaves > last.leaves:
            last = stay
    return found


def changeovers(apart: Sequence[Stay]) -> list[Changeover]:
    """One for each stay of ``merged`` stays, when it ends."""
    following: list[datetime | None] = [stay.arrives for stay in apart[1:]]
    return [
        Changeover(stay.leaves, arrives) for stay, arrives in zip(apart, [*following, None], strict=False)
    ]


def starts_on(
    day: date, apart: Sequence[Stay], *, minutes: int, opens: time | None, closes: time | None
) -> list[Starts]:
    """When a visit may start on the day so that it is over before guests arrive.

    apart          Merged stays.
    minutes        How long the visit takes.
    opens, closes  Earliest and latest start that is agreed; None: any.
    """
    first = _minute(opens) if opens else 0
    last = _minute(closes) if closes else LAST_MINUTE
    found = []
    for begins, ends in _free(day, apart):
        latest = ends - minutes if ends <= LAST_MINUTE else LAST_MINUTE
        lowest, highest = max(first, begins), min(last, latest)
        if lowest <= highest:
            found.append(Starts(_clock(lowest), _clock(highest)))
    return found


def _free(day: date, apart: Sequence[Stay]) -> list[tuple[int, int]]:
    """Spans of the day without guests, in minutes from midnight; the end of the day is 1440."""
    midnight = datetime.combine(day, time.min)
    tomorrow = midnight + timedelta(days=1)
    begins, spans = midnight, []
    for stay in apart:
        if stay.leaves <= begins or stay.arrives >= tomorrow:
            continue
        if stay.arrives >= begins:
            spans.append((begins, stay.arrives))
        begins = stay.leaves
    if begins < tomorrow:
        spans.append((begins, tomorrow))
    return [
        (_up(left - midnight), (right - midnight) // timedelta(minutes=1))
        for left, right in spans
        if right > left
    ]


def _up(since_midnight: timedelta) -> int:
    return -(-since_midnight // timedelta(minutes=1))


def _minute(clock: time) -> int:
    return clock.hour * 60 + clock.minute


def _clock(minute: int) -> time:
    return time(minute // 60, minute % 60)
