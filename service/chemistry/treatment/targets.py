"""What a plan aims at: limits of the guideline in force, and inside them the ideal range.

Limits come from the guideline and the house floor. Where the guideline names no ideal, the house has
one (common practice, no source). A plan aims inside the ideal by an inset, so that a reading's error
does not carry the water back over the edge; it never doses to cure less than that error.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

# Common practice, no source: what the trade aims at when a document gives limits only.
HOUSE_IDEALS: Final[dict[str, tuple[float | None, float | None]]] = {
    "ph": (7.4, 7.6),
    "total_alkalinity_mg_l": (80.0, 120.0),
    "calcium_hardness_mg_l": (150.0, 250.0),
    "free_chlorine_mg_l": (3.0, 5.0),
    "total_bromine_mg_l": (4.0, 6.0),
    "cyanuric_acid_mg_l": (None, 30.0),
}
# Without limits on both sides a miss is counted in these widths.
SPANS: Final[dict[str, float]] = {
    "ph": 0.6,
    "total_alkalinity_mg_l": 100.0,
    "calcium_hardness_mg_l": 200.0,
    "free_chlorine_mg_l": 5.0,
    "total_bromine_mg_l": 5.0,
    "cyanuric_acid_mg_l": 50.0,
    "total_dissolved_solids_mg_l": 1000.0,
    "combined_chlorine_mg_l": 1.0,
}
PH_LIMIT_INSET: Final = 0.03
LIMIT_INSET_SHARE: Final = 0.01
AIM_INSET_SHARE: Final = 0.1
MOST_INSET_SHARE: Final = 1 / 3
NARROW_SHARE: Final = 0.5
ROUNDING: Final = 1e-6
BARELY_SHARE: Final = 0.35
LIMIT_PRICE: Final = 1e6
AIM_PRICE: Final = 1e3
URGENT: Final = 30.0
DECIDES_BATHING: Final = frozenset({"ph", "free_chlorine_mg_l", "total_bromine_mg_l"})


@dataclass(frozen=True)
class Target:
    """Where one figure must and should be after treatment, in its own unit.

    low, high              Limits to plan with, a hair inside the guideline's; None where there is none.
    aim_low, aim_high      The ideal range less its inset.
    span                   Width that counts as one whole miss, > 0.
    limit_low, limit_high  The guideline's own limits.
    """

    parameter: str
    low: float | None
    high: float | None
    aim_low: float | None
    aim_high: float | None
    span: float
    limit_low: float | None = None
    limit_high: float | None = None

    @property
    def limit_price(self) -> float:
        """What a missed limit costs: sanitiser and pH outrank the rest, bathing hangs on them."""
        return LIMIT_PRICE * (URGENT if self.parameter in DECIDES_BATHING else 1.0)

    def misses(self, value: float, *, margin: float = 0.0) -> bool:
        """True when a value lies outside the guideline's own limits.

        margin  Share of the span it must stay inside them, >= 0.
        """
        inset = margin * self.span - ROUNDING
        if self.limit_low is not None and value < self.limit_low + inset:
            return True
        return self.limit_high is not None and value > self.limit_high - inset

    def barely_inside(self) -> Target:
        """The same target, aimed just inside its upper limit: a halogen falls further by itself."""
        if self.limit_high is None:
            return self
        aim = self.limit_high - BARELY_SHARE * (self.limit_high - (self.limit_low or 0.0))
        return replace(self, low=aim, aim_low=aim, aim_high=aim)

    def limits_only(self) -> Target:
        """The same target without aims."""
        return replace(self, aim_low=self.low, aim_high=self.high)

    def marks(self) -> list[float]:
        """Every value at which a limit or an aim stands."""
        return [side[0] for side in self.sides()]

    def sides(self) -> list[tuple[float, float, float]]:
        """(value, +1 for at least or -1 for at most, price of a miss) of every limit and aim."""
        listed = (
            (self.low, 1.0, self.limit_price),
            (self.high, -1.0, self.limit_price),
            (self.aim_low, 1.0, AIM_PRICE),
            (self.aim_high, -1.0, AIM_PRICE),
        )
        return [(value, sign, price) for value, sign, price in listed if value is not None]


def target(
    parameter: str,
    *,
    low: float | None,
    high: float | None,
    ideal_low: float | None,
    ideal_high: float | None,
    reading: float,
    plus_minus: float,
    demand: float = 0.0,
    lower_half: bool = False,
) -> Target:
    """The target of one figure.

    low, high              Limits in force, None where there is none.
    ideal_low, ideal_high  Ideal range of the guideline, None where it has none.
    reading                What was read. plus_minus: its error, >= 0.
    demand                 How far above the lowest ideal to aim because people will bathe, >= 0.
    lower_half             True for shells that want the lower half of the range.

    >>> found = target("ph", low=7.2, high=7.8, ideal_low=None, ideal_high=None, reading=8.0, plus_minus=0.0)
    >>> round(found.low, 2), round(found.aim_low, 2), round(found.aim_high, 2)
    (7.23, 7.42, 7.58)
    """
    ideal = _ideal(parameter, low, high, ideal_low, ideal_high)
    if lower_half:
        ideal = _lower_half(ideal, low, high)
    aim_low, aim_high = _inset(ideal, plus_minus)
    aim_low, aim_high = _left_alone(aim_low, aim_high, ideal, reading, plus_minus, low, high)
    if demand > 0 and aim_low is not None and aim_high is not None:
        ceiling = aim_low + demand if high is None else high - 0.1 * (high - (low or 0.0))
        aim_low = max(aim_low, min((ideal[0] or 0.0) + demand, ceiling))
        aim_high = max(aim_high, aim_low)
    inner_low, inner_high = _inside(parameter, low, high)
    return Target(
        parameter,
        inner_low,
        inner_high,
        _clip(aim_low, inner_low, inner_high),
        _clip(aim_high, inner_low, inner_high),
        _span(parameter, low, high),
        low,
        high,
    )


def ideal_range(
    parameter: str,
    *,
    low: float | None,
    high: float | None,
    ideal_low: float | None,
    ideal_high: float | None,
) -> tuple[float | None, float | None]:
    """The ideal range in force: the guideline's, else the house's, moved inside the limits.

    >>> ideal_range("free_chlorine_mg_l", low=5.0, high=10.0, ideal_low=None, ideal_high=None)
    (5.5, 7.5)
    """
    return _ideal(parameter, low, high, ideal_low, ideal_high)


def _ideal(
    parameter: str, low: float | None, high: float | None, ideal_low: float | None, ideal_high: float | None
) -> tuple[float | None, float | None]:
    if ideal_low is None and ideal_high is None:
        ideal_low, ideal_high = HOUSE_IDEALS.get(parameter, (None, None))
    clipped_low, clipped_high = _clip(ideal_low, low, high), _clip(ideal_high, low, high)
    if low is None or high is None or ideal_low is None or ideal_high is None:
        return clipped_low, clipped_high
    width = (clipped_high or 0.0) - (clipped_low or 0.0)
    if width <= NARROW_SHARE * (ideal_high - ideal_low):
        return low + 0.1 * (high - low), low + 0.5 * (high - low)
    return clipped_low, clipped_high


def _clip(value: float | None, low: float | None, high: float | None) -> float | None:
    if value is None:
        return None
    if low is not None:
        value = max(value, low)
    return value if high is None else min(value, high)


def _lower_half(
    ideal: tuple[float | None, float | None], low: float | None, high: float | None
) -> tuple[float | None, float | None]:
    if low is None or high is None or ideal[0] is None or ideal[1] is None:
        return ideal
    middle = 0.5 * (low + high)
    return min(ideal[0], low + 0.2 * (high - low)), min(ideal[1], middle)


def _inset(ideal: tuple[float | None, float | None], plus_minus: float) -> tuple[float | None, float | None]:
    low, high = ideal
    if low is None or high is None:
        return ideal
    width = high - low
    inset = min(max(AIM_INSET_SHARE * width, plus_minus), MOST_INSET_SHARE * width)
    return low + inset, high - inset


def _left_alone(
    aim_low: float | None,
    aim_high: float | None,
    ideal: tuple[float | None, float | None],
    reading: float,
    plus_minus: float,
    low: float | None,
    high: float | None,
) -> tuple[float | None, float | None]:
    """Aims widened to a reading that is ideal already, or out by less than its own error."""
    if aim_low is not None and ideal[0] is not None and reading >= ideal[0] - plus_minus:
        aim_low = _clip(min(aim_low, reading), low, None)
    if aim_high is not None and ideal[1] is not None and reading <= ideal[1] + plus_minus:
        aim_high = _clip(max(aim_high, reading), None, high)
    if aim_low is not None and aim_high is not None and aim_low > aim_high:
        aim_low = aim_high = 0.5 * (aim_low + aim_high)
    return aim_low, aim_high


def _inside(parameter: str, low: float | None, high: float | None) -> tuple[float | None, float | None]:
    """Limits a hair inside the guideline's, so that rounding a dose does not cross them."""
    if low is not None and high is not None:
        width = high - low
        inset = min(PH_LIMIT_INSET, 0.1 * width) if parameter == "ph" else LIMIT_INSET_SHARE * width
        return low + inset, high - inset
    inset = LIMIT_INSET_SHARE * (low or high or 0.0)
    return (None if low is None else low + inset), (None if high is None else high - inset)


def _span(parameter: str, low: float | None, high: float | None) -> float:
    if low is not None and high is not None and high > low:
        return high - low
    return SPANS.get(parameter, 1.0)
