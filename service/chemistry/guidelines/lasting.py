"""Limits that close only when they are passed for some time, or on several days."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from .citation import Citation
from .duties import RepeatedDays
from .guideline import Guideline


def lasts_longer_than(readings: Iterable[tuple[datetime, bool]], hours: float) -> bool:
    """Whether the limit has been passed in an unbroken run of tests that spans more than so many hours.

    readings  (time of the test, whether the limit was passed), in any order; the run ends at the latest.

    Q-2, r. 39, s.17 (Quebec): combined chlorine above 1.0 mg/L for more than 24 h.

    >>> from datetime import datetime as t
    >>> lasts_longer_than([(t(2026, 6, 1, 8), True), (t(2026, 6, 2, 9), True)], 24)
    True
    >>> interrupted = [(t(2026, 6, 1, 8), True), (t(2026, 6, 1, 20), False), (t(2026, 6, 2, 9), True)]
    >>> lasts_longer_than(interrupted, 24)
    False
    """
    latest_first = sorted(readings, reverse=True)
    run: list[datetime] = []
    for at, passed in latest_first:
        if not passed:
            break
        run.append(at)
    return bool(run) and run[0] - run[-1] > timedelta(hours=hours)


@dataclass(frozen=True)
class DayCount:
    """A duty that counts days on which readings were in a range.

    due          Whether it has fallen due.
    consecutive  Days in a row up to today. of_seven: days among the last seven.
    """

    id: str
    duty: str
    due: bool
    consecutive: int
    of_seven: int
    sum: str
    citation: Citation


def repeated_days(
    guideline: Guideline, *, daily: Mapping[date, Mapping[str, Decimal]], today: date
) -> list[DayCount]:
    """Each duty of the set that counts days, as it stands today.

    daily  Readings of each day by parameter, in its own unit; a day without a row counts as not met.

    641-15.51 Table 12 (Iowa): free chlorine 8.2 to 10 with ORP 650 to 700 on 2 days in a row or 4 of 7.
    """
    return [_count(rule, daily, today) for rule in guideline.duties.repeated_days]


def _count(rule: RepeatedDays, daily: Mapping[date, Mapping[str, Decimal]], today: date) -> DayCount:
    met = {day for day, readings in daily.items() if _met(rule, readings)}
    consecutive = 0
    while today - timedelta(days=consecutive) in met:
        consecutive += 1
    of_seven = sum(today - timedelta(days=back) in met for back in range(7))
    due = consecutive >= rule.consecutive_days or of_seven >= rule.days_of_seven
    text = (
        f"{consecutive} of {rule.consecutive_days} days in a row, {of_seven} of {rule.days_of_seven} days"
        " among the last seven"
    )
    return DayCount(rule.id, rule.duty, due, consecutive, of_seven, text, rule.citation)


def _met(rule: RepeatedDays, readings: Mapping[str, Decimal]) -> bool:
    return any(
        all(name in readings and low <= readings[name] <= high for name, (low, high) in ranges.items())
        for ranges in rule.any_of
    )
