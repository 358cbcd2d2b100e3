"""The one range in force for a parameter: what a plan aims at and what a band line draws."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from service.chemistry.readings import Reading

from .citation import HOUSE, HOUSE_SOURCE, weakest
from .guideline import Guideline
from .house_floor import floor_rows
from .in_force import Circumstances, rows_in_force
from .parameters import PARAMETERS
from .rows import Row
from .water_as_read import quantities


@dataclass(frozen=True)
class Band:
    """A parameter's ranges in its own unit; an end that nothing limits is None.

    low, high              Act outside. ideal_low, ideal_high: advice outside.
    close_low, close_high  Do not open outside.
    open_low, open_high    The end itself is not allowed.
    source, verified       Documents and clauses, and the weakest verification among them.
    gap                    The set has no row for it: only the house floor, if anything, stands here.
    """

    parameter: str
    unit: str
    low: float | None
    ideal_low: float | None
    ideal_high: float | None
    high: float | None
    close_low: float | None
    close_high: float | None
    open_low: bool
    open_high: bool
    source: str
    verified: str
    gap: bool

    @property
    def is_contradictory(self) -> bool:
        """Whether no value can meet it, as when two sets are paired that do not overlap."""
        return self.low is not None and self.high is not None and self.low > self.high

    def holds(self, value: float) -> bool:
        """Whether a value lies inside low to high."""
        below = self.low is not None and (value < self.low or (self.open_low and value == self.low))
        above = self.high is not None and (value > self.high or (self.open_high and value == self.high))
        return not below and not above


def band(
    guideline: Guideline,
    parameter: str,
    *,
    sanitiser: str,
    setting: str,
    readings: Mapping[str, Reading] | None = None,
    product_family: str | None = None,
) -> Band:
    """All rows of a parameter in force, and the house floor, folded into one range.

    readings  What conditions ask about. A row that tightens or selects by a reading counts unless the
              readings show that it does not; rows that widen are left out: a plan aims at the preferred
              range.

    >>> from service.chemistry.guidelines import get
    >>> ph = band(get("dc_25c"), "ph", sanitiser="chlorine", setting="outdoor")
    >>> ph.close_low, ph.low, ph.high, ph.close_high
    (6.8, 7.2, 7.8, 8.0)
    """
    about = Circumstances(quantities(readings or {}), sanitiser, setting, product_family)
    rows = [item.row for item in rows_in_force(guideline, about, parameter)]
    floor = [row for row in floor_rows(guideline, about) if row.parameter == parameter]
    close_low, close_high = _highest(rows + floor, "close_below"), _lowest(rows + floor, "close_above")
    low = _most(_highest(rows, "min"), close_low)
    high = _least(_lowest(rows, "max"), close_high)
    ideal_low, ideal_high = _ideal(rows, low, high)
    return Band(
        parameter=parameter,
        unit=PARAMETERS[parameter].shown_unit,
        low=_number(low),
        ideal_low=_number(ideal_low),
        ideal_high=_number(ideal_high),
        high=_number(high),
        close_low=_number(close_low),
        close_high=_number(close_high),
        open_low=_is_open(rows, "min", low),
        open_high=_is_open(rows, "max", high),
        source="; ".join(dict.fromkeys(row.citation.source for row in rows))
        or (HOUSE_SOURCE if floor else ""),
        verified=weakest([row.verified for row in rows]) if rows else HOUSE,
        gap=not rows,
    )


def _ends(rows: Iterable[Row], name: str) -> list[Fraction]:
    return [end for row in rows if (end := row.in_own_unit(name)) is not None]


def _highest(rows: Iterable[Row], name: str) -> Fraction | None:
    return max(_ends(rows, name), default=None)


def _lowest(rows: Iterable[Row], name: str) -> Fraction | None:
    return min(_ends(rows, name), default=None)


def _most(*ends: Fraction | None) -> Fraction | None:
    return max((end for end in ends if end is not None), default=None)


def _least(*ends: Fraction | None) -> Fraction | None:
    return min((end for end in ends if end is not None), default=None)


def _ideal(
    rows: list[Row], low: Fraction | None, high: Fraction | None
) -> tuple[Fraction | None, Fraction | None]:
    """The ideal ends, kept inside the limits; none where the rows' ideals do not overlap."""
    ideal_low, ideal_high = _highest(rows, "ideal_low"), _lowest(rows, "ideal_high")
    if ideal_low is not None:
        ideal_low = _most(ideal_low, low)
    if ideal_high is not None:
        ideal_high = _least(ideal_high, high)
    if ideal_low is not None and ideal_high is not None and ideal_low > ideal_high:
        return None, None
    return ideal_low, ideal_high


def _is_open(rows: list[Row], name: str, end: Fraction | None) -> bool:
    return any(name in row.exclusive and row.in_own_unit(name) == end for row in rows)


def _number(end: Fraction | None) -> float | None:
    return None if end is None else float(end)
