"""When a document wants the water replaced: several ways to count, never swapped silently.

The counts by bathers start from the volume in US gallons divided by three (litres / 11.356):

each day          (volume / 3) / bathers of that day, in whole days; the smallest since the last drain
                  rules, and a quiet day does not lift it (10-144 CMR ch. 202 App. B; ARM 37.115.1309).
average           (volume / 3) / (total bathers / days); that is total bathers >= volume / 3 (MAHC 5.12.1.2).
total since fill  (volume / 3) / total bathers since fill; that is total bathers x days >= volume / 3
                  (Anchorage 16.15.260 L(2); its text says "equals", taken as reached or passed).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import Final

from service.chemistry.units import LITRES_PER_US_GALLON

from .citation import Citation
from .duties import WaterReplacement
from .exact import exact, plain
from .guideline import Guideline

Number = Decimal | Fraction | float | int

US_GALLON_L: Final = exact(LITRES_PER_US_GALLON)
GALLONS_PER_BATHER: Final = 3
LITRES_PER_M3: Final = 1000


@dataclass(frozen=True)
class WaterUse:
    """What has happened since the last drain.

    volume_l          Water in the spa, [L], > 0.
    bathers           Bathers on each day since the last drain, oldest first, None for a day nobody counted.
    days              Days since the last drain; taken from bathers where it is not given.
    total_dissolved_solids_mg_l, fill_total_dissolved_solids_mg_l
                      Of the spa and of the supply water, None when not measured.
    """

    volume_l: Number
    bathers: Sequence[int | None] = ()
    days: int | None = None
    total_dissolved_solids_mg_l: Number | None = None
    fill_total_dissolved_solids_mg_l: Number | None = None

    @property
    def days_since_drain(self) -> int:
        """Days since the last drain."""
        return len(self.bathers) if self.days is None else self.days

    @property
    def counted(self) -> tuple[int, ...]:
        """Bathers of the days on which they were counted."""
        return tuple(number for number in self.bathers if number is not None)

    @property
    def is_complete(self) -> bool:
        """Whether bathers were counted on every day since the last drain."""
        return None not in self.bathers and len(self.bathers) >= self.days_since_drain

    @property
    def bathers_allowed(self) -> Fraction:
        """Volume in US gallons divided by three: the bathers one filling serves on one day."""
        return exact(self.volume_l) / US_GALLON_L / GALLONS_PER_BATHER


@dataclass(frozen=True)
class Count:
    """What one way of counting says.

    drain          True: replace the water now. None: cannot be told, the sum says what is missing.
    interval_days  The interval that was compared, None where the way of counting has none.
    sum            The sum in words.
    """

    formula_id: str
    drain: bool | None
    interval_days: Fraction | None
    sum: str


@dataclass(frozen=True)
class ReplacementDue:
    """A count with the rule it belongs to; choice: one of several ways the document offers."""

    count: Count
    citation: Citation
    choice: bool

    @property
    def rule(self) -> str:
        """Which rule spoke, by its name and place."""
        return f"{RULE_NAMES[self.count.formula_id]} ({self.citation.short})"


RULE_NAMES: Final[Mapping[str, str]] = {
    "bathers_each_day": "By the bathers of each day",
    "bathers_average": "By average bathers a day",
    "bathers_total_since_fill": "By all bathers since the fill",
    "bathers_since_fill_limit": "By a limit on bathers since the fill",
    "tds_rise": "By the rise of dissolved solids",
    "tds_absolute": "By dissolved solids",
    "fixed_days": "By days since the last drain",
    "operator_judgement": "By the operator's judgement",
}


def whole_days(interval: Fraction) -> int:
    """An interval to the nearest whole day; an exact half goes down (own choice, no source).

    >>> whole_days(Fraction(200, 19)), whole_days(Fraction(5, 2))
    (11, 2)
    """
    return ceil(interval - Fraction(1, 2))


def by_each_day(use: WaterUse) -> Count:
    """Smallest whole-day interval since the last drain against the days since.

    >>> by_each_day(WaterUse(volume_l=2271.2470704, bathers=[85, 2])).drain
    True
    """
    intervals = [whole_days(use.bathers_allowed / number) for number in use.counted if number > 0]
    smallest = min(intervals, default=None)
    days = use.days_since_drain
    reached = smallest is not None and smallest <= days
    shortest = "no bathers" if smallest is None else f"shortest interval {smallest} d"
    text = f"{plain(use.bathers_allowed)} bathers a filling; {shortest}, {days} d since the last drain"
    interval = None if smallest is None else Fraction(smallest)
    return _count("bathers_each_day", use, reached, interval, text)


def by_average(use: WaterUse) -> Count:
    """Total bathers against volume / 3.

    >>> by_average(WaterUse(volume_l=2271.2470704, bathers=[85, 2, 113])).drain
    True
    """
    total, days = sum(use.counted), use.days_since_drain
    interval = use.bathers_allowed * days / total if total else None
    text = f"{total} bathers in {days} d against {plain(use.bathers_allowed)}"
    return _count("bathers_average", use, total >= use.bathers_allowed, interval, text)


def by_total_since_fill(use: WaterUse) -> Count:
    """Total bathers times days against volume / 3; the strictest of the three for light use.

    >>> by_total_since_fill(WaterUse(volume_l=1135.6235352, bathers=[2] * 8)).drain
    True
    """
    total, days = sum(use.counted), use.days_since_drain
    interval = use.bathers_allowed / total if total else None
    text = f"{total} bathers x {days} d = {total * days} against {plain(use.bathers_allowed)}"
    return _count("bathers_total_since_fill", use, total * days >= use.bathers_allowed, interval, text)


def by_bather_limit(use: WaterUse, *, bathers_per_m3: int) -> Count:
    """Bathers since the fill against a number per cubic metre, or one day, whichever comes first."""
    total, days = sum(use.counted), use.days_since_drain
    allowed = bathers_per_m3 * exact(use.volume_l) / LITRES_PER_M3
    text = f"{total} bathers against {plain(allowed)}, {days} d against 1 d"
    return _count("bathers_since_fill_limit", use, total >= allowed or days >= 1, None, text)


def by_solids_rise(use: WaterUse, *, rise_mg_l: int) -> Count:
    """Dissolved solids above the supply water against the allowed rise.

    >>> by_solids_rise(WaterUse(1000, (), 1, 2500, 800), rise_mg_l=1500).drain
    True
    """
    spa, fill = use.total_dissolved_solids_mg_l, use.fill_total_dissolved_solids_mg_l
    if spa is None or fill is None:
        return Count("tds_rise", None, None, "Needs dissolved solids of the spa and of the supply water")
    rise = exact(spa) - exact(fill)
    text = f"{_said(spa)} - {_said(fill)} = {plain(rise)} mg/L against {rise_mg_l} mg/L"
    return Count("tds_rise", rise >= rise_mg_l, None, text)


def by_solids(use: WaterUse, *, mg_l: int) -> Count:
    """Dissolved solids against an absolute figure."""
    spa = use.total_dissolved_solids_mg_l
    if spa is None:
        return Count("tds_absolute", None, None, "Needs dissolved solids of the spa")
    return Count("tds_absolute", exact(spa) >= mg_l, None, f"{_said(spa)} mg/L against {mg_l} mg/L")


def by_fixed_days(use: WaterUse, *, days: int) -> Count:
    """Days since the last drain against a fixed number."""
    since = use.days_since_drain
    return Count(
        "fixed_days", since >= days, Fraction(days), f"{since} d since the last drain against {days} d"
    )


def by_operator(_: WaterUse) -> Count:
    """Nothing to count: the operator decides."""
    return Count("operator_judgement", None, None, "The operator decides")


def replacement_due(
    guideline: Guideline, use: WaterUse, *, facility: str | None = None
) -> list[ReplacementDue]:
    """What each replacement rule of the set says now; every rule is named, none stands in for another.

    facility  "let" or "commercial", for sets that ask it of one kind only; None: all their rules.
    """
    return [
        ReplacementDue(_by_rule(rule, use), rule.citation, rule.choice)
        for rule in guideline.duties.water_replacement
        if facility is None or rule.facility in (None, facility)
    ]


def drain_days(way: Callable[[WaterUse], Count], *, volume_l: Number, bathers: Sequence[int]) -> list[bool]:
    """Day by day, whether the water is to be drained at the day's end; each drain starts anew.

    way  One of by_each_day, by_average and by_total_since_fill.

    Worked example of 10-144 CMR ch. 202 App. B, Example 2 (600 US gal):

    >>> drain_days(by_each_day, volume_l=2271.2470704, bathers=[85, 2, 19, 20, 105, 100, 49])
    [False, True, False, False, True, False, True]
    """
    since: list[int] = []
    drained = []
    for number in bathers:
        since.append(number)
        due = way(WaterUse(volume_l, tuple(since))).drain is True
        drained.append(due)
        since = [] if due else since
    return drained


def _by_rule(rule: WaterReplacement, use: WaterUse) -> Count:
    plainly: dict[str, Callable[[WaterUse], Count]] = {
        "bathers_each_day": by_each_day,
        "bathers_average": by_average,
        "bathers_total_since_fill": by_total_since_fill,
        "operator_judgement": by_operator,
    }
    if rule.formula_id in plainly:
        return plainly[rule.formula_id](use)
    if rule.bathers_per_m3 is not None:
        return by_bather_limit(use, bathers_per_m3=rule.bathers_per_m3)
    if rule.rise_mg_l is not None:
        return by_solids_rise(use, rise_mg_l=rule.rise_mg_l)
    if rule.mg_l is not None:
        return by_solids(use, mg_l=rule.mg_l)
    return by_fixed_days(use, days=rule.days or 0)


def _count(formula_id: str, use: WaterUse, reached: bool, interval_days: Fraction | None, text: str) -> Count:
    """Reached is reached; not reached cannot be said while the bathers of some days are unknown."""
    count = Count(formula_id, reached, interval_days, text)
    if reached or use.is_complete:
        return count
    missing = max(use.days_since_drain, len(use.bathers)) - len(use.counted)
    return replace(count, drain=None, sum=f"{text}; bathers of {missing} d not counted")


def _said(number: Number) -> str:
    return plain(exact(number))


@dataclass(frozen=True)
class Dilution:
    """Share of the water to replace; None when no share does it. sum: the sum, or why not, in words."""

    fraction: Fraction | None
    sum: str

    @property
    def is_possible(self) -> bool:
        """Whether the supply water can bring the figure there."""
        return self.fraction is not None


def dilution(*, now: Number, target: Number, fill: Number) -> Dilution:
    """Share of the water to replace so that a dissolved figure falls to the target.

    Mass balance: (now - target) / (now - fill), all in one unit.

    >>> dilution(now=60, target=20, fill=0).fraction
    Fraction(2, 3)
    >>> dilution(now=2500, target=700, fill=800).sum
    'The supply water (800) is above the target 700: no share of it brings 2500 there'
    """
    c_now, c_target, c_fill = exact(now), exact(target), exact(fill)
    if c_now <= c_target:
        return Dilution(Fraction(0), f"{_said(now)} is already at or below {_said(target)}")
    if c_fill > c_target:
        text = f"The supply water ({_said(fill)}) is above the target {_said(target)}"
        return Dilution(None, f"{text}: no share of it brings {_said(now)} there")
    share = (c_now - c_target) / (c_now - c_fill)
    return Dilution(
        share, f"({_said(now)} - {_said(target)}) / ({_said(now)} - {_said(fill)}) = {plain(share)}"
    )
