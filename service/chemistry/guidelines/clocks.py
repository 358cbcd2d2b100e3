"""When the next test, drain, filter, sample or other duty falls due, and how long records are kept.

Every answer says which rule spoke and its sum. Times are aware datetimes and dates of the site.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Final

from .citation import Citation, house_rule
from .duties import DrainInterval, FilterCleaning, FrequencyOfTests
from .guideline import Guideline
from .parameters import DISINFECTANT, PARAMETERS, SANITISER_PARAMETER

HOUSE_TEST_HOURS: Final = 24
"""Own choice, no source: a test of sanitiser and pH is good for a day where the set states nothing."""


@dataclass(frozen=True)
class DueTest:
    """When parameters of one rule, last tested together, are next to be tested.

    at   The moment the last test stops being enough; at or before now it is overdue.
    sum  How the moment was found, in words.
    """

    parameters: tuple[str, ...]
    at: datetime
    is_overdue: bool
    sum: str
    citation: Citation


@dataclass(frozen=True)
class Due:
    """A duty and the day it falls due; None: the set ties it to an event that has no date yet."""

    duty: str
    on: date | None
    sum: str
    citation: Citation


def due_tests(
    guideline: Guideline,
    tested: Mapping[str, Sequence[datetime]],
    *,
    now: datetime,
    sanitiser: str,
    feed: str | None = None,
    facility: str | None = None,
    used: Iterable[str] = (),
) -> list[DueTest]:
    """Every test the set asks for, soonest first.

    tested    Parameter -> times it was tested, by anyone who counts under the agreement.
    now       Aware, in the site's zone: its midnight starts the day that "once a day" means.
    feed      "manual" or "automatic"; facility "let" or "commercial"; None: every rule of the set.
    used      Parameters that are tested only if the substance is used, where it is.

    Sanitiser and pH fall due a day after their last test where the set says nothing of them.
    """
    rules = [rule for rule in guideline.duties.test_frequency if _asks(rule, feed, facility, set(used))]
    halogen = SANITISER_PARAMETER.get(sanitiser)
    found = [
        item for rule in rules for item in _tests_of(rule, _concerned(rule, tested, halogen), tested, now)
    ]
    covered = {name for item in found for name in item.parameters}
    core = [name for name in (halogen, "ph") if name is not None and name not in covered]
    found += _house_tests(core, tested, now)
    return sorted(found, key=lambda item: (item.at, item.parameters))


def fitness_lapses(
    guideline: Guideline,
    tested: Mapping[str, Sequence[datetime]],
    *,
    now: datetime,
    sanitiser: str,
    feed: str | None = None,
    facility: str | None = None,
) -> DueTest:
    """The soonest test of sanitiser or pH: from then on nobody can say that the water is fit."""
    core = {SANITISER_PARAMETER.get(sanitiser), "ph"}
    due = due_tests(guideline, tested, now=now, sanitiser=sanitiser, feed=feed, facility=facility)
    return next(item for item in due if core & set(item.parameters))


def _asks(rule: FrequencyOfTests, feed: str | None, facility: str | None, used: set[str]) -> bool:
    if rule.only_if_used and not used & set(rule.parameters):
        return False
    return (feed is None or rule.feed in (None, feed)) and (
        facility is None or rule.facility in (None, facility)
    )


def _concerned(
    rule: FrequencyOfTests, tested: Mapping[str, Sequence[datetime]], halogen: str | None
) -> list[str]:
    """The parameters of a rule that this spa is tested for."""
    names = [halogen if name == DISINFECTANT else name for name in rule.parameters]
    other = set(SANITISER_PARAMETER.values()) - {halogen}
    return [name for name in names if name is not None and _is_tested_here(name, tested, other)]


def _tests_of(
    rule: FrequencyOfTests, names: Sequence[str], tested: Mapping[str, Sequence[datetime]], now: datetime
) -> list[DueTest]:
    """What one rule asks, parameters with the same due time together."""
    due: dict[tuple[datetime, str], list[str]] = {}
    for name in names:
        due.setdefault(_next_test(rule, sorted(tested.get(name, ())), now), []).append(name)
    return [DueTest(tuple(kept), at, at <= now, text, rule.citation) for (at, text), kept in due.items()]


def _is_tested_here(name: str, tested: Mapping[str, Sequence[datetime]], other: set[str]) -> bool:
    """Water parameters of this system; what is no water parameter (clarity, flow) only if it is kept."""
    if name in tested:
        return True
    if "free_chlorine_mg_l" in other and name in ("total_chlorine_mg_l", "combined_chlorine_mg_l"):
        return False
    return name in PARAMETERS and name not in other


def _next_test(rule: FrequencyOfTests, times: Sequence[datetime], now: datetime) -> tuple[datetime, str]:
    if not times:
        return datetime.combine(now.date(), time.min, now.tzinfo), "Never tested: due today"
    last = times[-1]
    if rule.interval_hours is not None:
        return last + timedelta(hours=rule.interval_hours), f"{_clock(last)} + {rule.interval_hours} h"
    if rule.interval_days is not None:
        return last + timedelta(days=rule.interval_days), f"{_clock(last)} + {rule.interval_days} d"
    return _next_of_the_day(rule.times_per_day or 1, times, now)


def _next_of_the_day(per_day: int, times: Sequence[datetime], now: datetime) -> tuple[datetime, str]:
    """So many a day: due at the day's start while none is made, then spread evenly, then tomorrow."""
    midnight = datetime.combine(now.date(), time.min, now.tzinfo)
    today = [moment for moment in times if midnight <= moment <= now]
    made = f"{len(today)} of {per_day} today"
    if not today:
        return midnight, made
    if len(today) >= per_day:
        return datetime.combine(now.date() + timedelta(days=1), time.min, now.tzinfo), made
    return today[-1] + timedelta(hours=24) / per_day, f"{made}, spread over the day"


def _house_tests(
    names: Sequence[str], tested: Mapping[str, Sequence[datetime]], now: datetime
) -> list[DueTest]:
    rule = FrequencyOfTests(house_rule(), tuple(names), interval_hours=HOUSE_TEST_HOURS)
    due = _tests_of(rule, names, tested, now)
    return [replace(item, sum=f"{item.sum}; the set states no time") for item in due]


def drain_due(
    guideline: Guideline, *, drained_on: date, changeovers: Iterable[date] = (), facility: str | None = None
) -> Due | None:
    """The day the spa is next drained by the set's fixed interval; None where it states none.

    changeovers  Days on which one group leaves and another comes.
    facility     "let" or "commercial"; None: the earliest of all rules.

    >>> from service.chemistry.guidelines import get
    >>> drain_due(get("new_york_6_1"), drained_on=date(2026, 6, 1)).on
    datetime.date(2026, 6, 15)
    """
    rules = guideline.duties.drain_interval
    asked = [rule for rule in rules if facility is None or rule.facility in (None, facility)]
    return _earliest(_drain_by(rule, drained_on, changeovers) for rule in asked)


def _drain_by(rule: DrainInterval, drained_on: date, changeovers: Iterable[date]) -> Due:
    latest = _after("drain", drained_on, rule.max_days, rule.citation)
    change = _next_after(drained_on, changeovers) if rule.between_groups else None
    if change is None or (latest.on is not None and change > latest.on):
        return latest
    return Due("drain", change, f"Change of group on {change.isoformat()}", rule.citation)


def filter_due(
    guideline: Guideline,
    *,
    cleaned_on: date,
    filter_kind: str = "cartridge",
    inlet_gauge: bool | None = None,
    drained_on: date | None = None,
    changeovers: Iterable[date] = (),
) -> Due | None:
    """The day the filter is next cleaned or swapped; None where the set states none.

    filter_kind  "cartridge" or "sand_or_diatomaceous_earth".
    inlet_gauge  Whether a working inlet pressure gauge is fitted; None (not known) is taken as no.
    drained_on   A drain after the last cleaning, for rules that ask for the filter at every drain.

    >>> from service.chemistry.guidelines import get
    >>> filter_due(get("iowa_641_15"), cleaned_on=date(2026, 6, 1), inlet_gauge=True).on
    datetime.date(2026, 7, 1)
    """
    rules = [rule for rule in guideline.duties.filter_cleaning if rule.filter == filter_kind]
    asked = [rule for rule in rules if rule.inlet_gauge is None or rule.inlet_gauge == bool(inlet_gauge)]
    return _earliest(
        due for rule in asked for due in _filter_by(rule, cleaned_on, drained_on, tuple(changeovers))
    )


def _filter_by(
    rule: FilterCleaning, cleaned_on: date, drained_on: date | None, changeovers: Iterable[date]
) -> list[Due]:
    due = []
    if rule.max_days is not None:
        due.append(_after("filter", cleaned_on, rule.max_days, rule.citation))
    if rule.at_drain and drained_on is not None and drained_on > cleaned_on:
        due.append(Due("filter", drained_on, f"Drained on {drained_on.isoformat()}", rule.citation))
    change = _next_after(cleaned_on, changeovers) if rule.between_groups else None
    if change is not None:
        due.append(Due("filter", change, f"Change of group on {change.isoformat()}", rule.citation))
    return due


def microbiology_due(
    guideline: Guideline, sampled_on: Mapping[str, date | None], *, today: date
) -> list[Due]:
    """The day each laboratory sample is next taken, soonest first; never sampled means today.

    sampled_on  Parameter -> day of its last sample; absent or None: never.
    """
    due = [
        _sample_due(name, rule.interval_days, sampled_on.get(name), today, rule.citation)
        for rule in guideline.duties.microbiology_intervals
        for name in rule.parameters
    ]
    return sorted(due, key=lambda item: item.on or today)


def _sample_due(name: str, days: int, last: date | None, today: date, citation: Citation) -> Due:
    if last is None:
        return Due(name, today, "Never sampled: due today", citation)
    return _after(name, last, days, citation)


def other_duties_due(guideline: Guideline, done_on: Mapping[str, date | None], *, today: date) -> list[Due]:
    """The day each other regular duty is next done, soonest first; never done means today.

    done_on  Duty id -> day it was last done; absent or None: never.
    """
    due = []
    for duty in guideline.duties.other_duties:
        if duty.max_days is None:
            continue
        last = done_on.get(duty.id)
        if last is None:
            due.append(Due(duty.id, today, "Never done: due today", duty.citation))
        else:
            due.append(_after(duty.id, last, duty.max_days, duty.citation))
    return sorted(due, key=lambda item: item.on or today)


def retention_until(guideline: Guideline, *, made_on: date, incident: bool = False) -> Due | None:
    """The day until which a record is kept; None where the set states no time.

    incident  An accident or incident report, which some sets keep longer.

    >>> from service.chemistry.guidelines import get
    >>> retention_until(get("montana_37_115"), made_on=date(2024, 3, 1), incident=True).on
    datetime.date(2029, 3, 1)
    """
    kept = []
    for rule in guideline.duties.record_retention:
        years = (rule.incident_years if incident else None) or rule.years
        text = f"{made_on.isoformat()} + {years} years"
        kept.append(Due("keep record", _years_after(made_on, years), text, rule.citation))
    return max(kept, key=lambda item: item.on or made_on, default=None)


def _years_after(day: date, years: int) -> date:
    """The same day of a later year; 29 February becomes 1 March, so that nothing is kept too short."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)


def _after(duty: str, start: date, days: int, citation: Citation) -> Due:
    return Due(duty, start + timedelta(days=days), f"{start.isoformat()} + {days} d", citation)


def _next_after(day: date, days: Iterable[date]) -> date | None:
    return min((item for item in days if item > day), default=None)


def _earliest(due: Iterable[Due]) -> Due | None:
    return min(due, key=lambda item: item.on or date.max, default=None)


def _clock(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%d %H:%M")
