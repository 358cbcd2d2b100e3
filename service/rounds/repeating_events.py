"""When a repeating event of a calendar begins (RFC 5545): RRULE, RDATE and EXDATE."""

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from itertools import chain, islice
from typing import Any
from zoneinfo import ZoneInfo

from dateutil.rrule import rrulestr
from icalendar import Component, vRecur

from service.rounds.event_values import instance_name, named

MOST_INSTANCES = 500
MOST_STEPS = 20_000
DAYS_BACK = 60
DAYS_AHEAD = 540
"""Stays that ended, or begin, further away are not kept. Own choice, no source."""

_NARROWING_PARTS = {"BYDAY", "BYMONTH", "BYMONTHDAY", "BYSETPOS"}
_READ_RULE_PARTS = {"FREQ", "INTERVAL", "COUNT", "UNTIL", "WKST", *_NARROWING_PARTS}
_READ_FREQUENCIES = {"DAILY", "WEEKLY", "MONTHLY", "YEARLY"}


def repeats(event: Component) -> bool:
    """Whether the event begins more often than at DTSTART."""
    return "RRULE" in event or "RDATE" in event


def instances(event: Component, start: Any, zone: ZoneInfo, today: date, remarks: list[str]) -> Iterator[Any]:
    """When a repeating event begins, up to DAYS_AHEAD: by RRULE and RDATE, without EXDATE."""
    rule = event.get("RRULE")
    if rule is not None and not _is_read(rule):
        remarks.append(f"{named(event)} repeats in a way that is not read here; only its first stay is kept.")
        rule = None
    gone = {instance_name(item, zone) for item in _dates(event, "EXDATE")}
    by_rule = iter([start]) if rule is None else _by_rule(rule, start, today, remarks, named(event))
    seen: set[str] = set()
    for instance in chain(by_rule, _dates(event, "RDATE")[:MOST_INSTANCES]):
        if isinstance(instance, datetime) != isinstance(start, datetime):
            continue
        # An EXDATE of a whole day takes away what begins on it: some programs write it so.
        names = {instance_name(instance, zone), f"{instance:%Y%m%d}"}
        name = instance_name(instance, zone)
        if names & gone or name in seen:
            continue
        seen.add(name)
        if len(seen) > MOST_INSTANCES:
            remarks.append(f"{named(event)} repeats more than {MOST_INSTANCES} times; the rest is left out.")
            return
        yield instance if is_whole_day(instance) else instance.replace(tzinfo=instance.tzinfo or zone)


def is_whole_day(value: date | datetime) -> bool:
    """A day without a time."""
    return not isinstance(value, datetime)


def _by_rule(rule: Any, start: Any, today: date, remarks: list[str], name: str) -> Iterator[Any]:
    """What RRULE gives from twice DAYS_BACK before today on, on the clock of the event's own zone."""
    first = datetime.combine(start, time.min) if is_whole_day(start) else start
    parts = rule.to_ical().decode().split(";")
    text = ";".join(part for part in parts if not part.upper().startswith("UNTIL="))
    until, last = _until(rule, start), today + timedelta(DAYS_AHEAD)
    since, steps = today - timedelta(2 * DAYS_BACK), 0
    for moment in islice(rrulestr(text, dtstart=first), MOST_STEPS):
        instance = moment.date() if is_whole_day(start) else moment
        if moment.date() > last or (until is not None and instance > until):
            return
        if moment.date() >= since:
            yield instance
        steps += 1
    if steps == MOST_STEPS:
        remarks.append(f"{name} began too long ago to be followed to today, and is left out.")


def _dates(event: Component, name: str) -> list[Any]:
    """The dates of all lines of one name. Of a period (3.8.5.2) it is the beginning."""
    lines = event.get(name)
    listed = lines if isinstance(lines, list) else [lines] if lines is not None else []
    values = [item.dt for line in listed for item in getattr(line, "dts", ())]
    begun = [value[0] if isinstance(value, tuple) else value for value in values]
    return [value for value in begun if isinstance(value, date)]


def is_combined(event: Component) -> bool:
    """Whether its rule narrows days in several ways, or day by day: it may take seconds to find none left."""
    rule = event.get("RRULE")
    narrowed = _narrowing(rule)
    return len(narrowed) > 1 or (bool(narrowed) and str(rule.get("FREQ", [""])[0]).upper() == "DAILY")


def _narrowing(rule: Any) -> set[str]:
    return {str(name).upper() for name in rule} & _NARROWING_PARTS if isinstance(rule, vRecur) else set()


def _is_read(rule: Any) -> bool:
    """Rules of whole days. One that might never come again is not followed day by day to the end of time."""
    if not isinstance(rule, vRecur):
        return False
    parts = {str(name).upper() for name in rule}
    frequency = str(rule.get("FREQ", [""])[0]).upper()
    interval = int(rule.get("INTERVAL", [1])[0])
    if not parts <= _READ_RULE_PARTS or frequency not in _READ_FREQUENCIES or interval < 1:
        return False
    narrowed = _narrowing(rule)
    if narrowed == {"BYSETPOS"} or not _are_days(rule):
        return False
    return frequency != "DAILY" or not narrowed or (interval == 1 and len(narrowed) == 1)


def _are_days(rule: Any) -> bool:
    """Whether its months and days of the month exist (3.3.10)."""
    months, days = rule.get("BYMONTH", []), rule.get("BYMONTHDAY", [])
    return all(1 <= int(month) <= 12 for month in months) and all(1 <= abs(int(day)) <= 31 for day in days)


def _until(rule: Any, start: Any) -> Any:
    until = rule.get("UNTIL", [None])[0]
    if until is None:
        return None
    if not isinstance(start, datetime):
        return until.date() if isinstance(until, datetime) else until
    if not isinstance(until, datetime):
        until = datetime.combine(until, time.max)
    return until if until.tzinfo else until.replace(tzinfo=start.tzinfo)
