"""What documents say of dosing itself: closed after dosing by hand, and regular high doses."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction

from .citation import Citation
from .duties import HandDosingClosure, Superchlorination
from .exact import exact, plain
from .guideline import Guideline
from .water_replacement import Number

MG_PER_G = 1000


@dataclass(frozen=True)
class HandDosing:
    """Whether the spa is still closed after a dose by hand, and why.

    not_before  The earliest reopening by time alone.
    """

    is_closed: bool
    not_before: datetime
    sum: str
    citation: Citation


def hand_dosing_minutes(guideline: Guideline) -> tuple[int, Citation] | None:
    """Minutes closed after any dose by hand, with their source; None where the set has no such rule.

    >>> from service.chemistry.guidelines import get
    >>> hand_dosing_minutes(get("dc_25c"))[0]
    60
    """
    rules = guideline.duties.hand_dosing_closure
    longest = max(rules, key=lambda rule: rule.closed_after_hours, default=None)
    return None if longest is None else (longest.closed_after_hours * 60, longest.citation)


def closed_after_hand_dosing(
    guideline: Guideline,
    *,
    dosed_at: datetime,
    now: datetime,
    breakpoint_dose: bool = False,
    free_chlorine_mg_l: Number | None = None,
) -> HandDosing | None:
    """Whether the spa is closed after a dose by hand; None where the set has no such rule.

    breakpoint_dose     The dose was a breakpoint chlorination: closed until free chlorine has come down.
    free_chlorine_mg_l  Measured after the dose, [mg/L as Cl2]; None: not measured, so still closed.

    25-C6416 (District of Columbia, read in the repealed chapter 64).
    """
    rules = guideline.duties.hand_dosing_closure
    answers = [_closed(rule, dosed_at, now, breakpoint_dose, free_chlorine_mg_l) for rule in rules]
    return max(answers, key=lambda item: (item.is_closed, item.not_before), default=None)


def _closed(
    rule: HandDosingClosure, dosed_at: datetime, now: datetime, breakpoint_dose: bool, free: Number | None
) -> HandDosing:
    not_before = dosed_at + timedelta(hours=rule.closed_after_hours)
    text = f"Dosed {dosed_at:%H:%M} + {rule.closed_after_hours} h = {not_before:%H:%M}"
    if not breakpoint_dose:
        return HandDosing(now < not_before, not_before, text, rule.citation)
    limit = rule.reopen_free_chlorine_at_or_below_mg_l
    too_high = free is None or exact(free) > limit
    read = "not measured" if free is None else f"{plain(exact(free))} mg/L"
    text = f"{text}; free chlorine {read}, to be at or below {limit} mg/L"
    return HandDosing(now < not_before or too_high, not_before, text, rule.citation)


@dataclass(frozen=True)
class HighDose:
    """A regular high dose of chlorine.

    raise_by_mg_l  Free chlorine to add, [mg/L as Cl2]; None where a reading it needs is missing.
    chlorine_g     The same for the spa, [g Cl2].
    interval_days  How often. closed: only while nobody bathes.
    """

    raise_by_mg_l: Fraction | None
    chlorine_g: Fraction | None
    interval_days: int
    closed: bool
    sum: str
    citation: Citation


def superchlorination(
    guideline: Guideline,
    *,
    volume_l: Number,
    combined_chlorine_mg_l: Number | None = None,
    free_chlorine_mg_l: Number | None = None,
) -> list[HighDose]:
    """The regular high doses the set asks for, for this spa.

    A multiple of combined chlorine (COMAR 10.17.01.43 H: ten times, free chlorine not subtracted) or a
    level to reach (10 NYCRR 6-1.25(c)(1): 10 mg/L each week, out of use). The label comes first.

    >>> from service.chemistry.guidelines import get
    >>> [dose] = superchlorination(get("maryland_comar"), volume_l=1500, combined_chlorine_mg_l=0.6)
    >>> float(dose.raise_by_mg_l), float(dose.chlorine_g)
    (6.0, 9.0)
    """
    return [
        _high_dose(rule, volume_l, combined_chlorine_mg_l, free_chlorine_mg_l)
        for rule in guideline.duties.superchlorination
    ]


def _high_dose(
    rule: Superchlorination, volume_l: Number, combined: Number | None, free: Number | None
) -> HighDose:
    rise, text = _rise(rule, combined, free)
    grams = None if rise is None else rise * exact(volume_l) / MG_PER_G
    return HighDose(rise, grams, rule.interval_days, rule.closed, text, rule.citation)


def _rise(
    rule: Superchlorination, combined: Number | None, free: Number | None
) -> tuple[Fraction | None, str]:
    if rule.times_combined_chlorine is not None:
        if combined is None:
            return None, "Needs combined chlorine"
        rise = rule.times_combined_chlorine * exact(combined)
        return rise, f"{rule.times_combined_chlorine} x {plain(exact(combined))} = {plain(rise)} mg/L"
    target = rule.target_free_chlorine_mg_l or 0
    if free is None:
        return None, f"To {target} mg/L free chlorine; needs free chlorine"
    rise = max(target - exact(free), Fraction(0))
    return rise, f"{target} - {plain(exact(free))} = {plain(rise)} mg/L"
