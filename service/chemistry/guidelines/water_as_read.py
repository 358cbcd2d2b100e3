"""Readings as exact quantities, with what follows from two of them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from fractions import Fraction

from service.chemistry.readings import Reading
from service.chemistry.uncertainty import plus_minus

from .exact import Quantity, exact
from .parameters import PARAMETERS

MG_PER_MMOL_ALKALINITY = Fraction("50.0435")
"""Half the molar mass of calcium carbonate, mg per mmol of acid; alkalinity is stated as CaCO3."""

BEYOND_EVERY_SHARE = Fraction(1000)
"""What a share of nothing is said to exceed: any limit on a share is below it."""

HIGHEST: Mapping[str, Fraction] = {"ph": Fraction(14)}
UNBOUNDED_BELOW = frozenset({"temperature_c", "orp_mv"})


def quantities(
    readings: Mapping[str, Reading], *, fill: Mapping[str, Reading] | None = None
) -> dict[str, Quantity]:
    """Every reading a guideline may judge, with the derived ones, keyed by parameter.

    Combined chlorine is total less free; its shares are exact fractions; the rise of dissolved solids
    needs the supply water's reading in fill; acid capacity is total alkalinity in mmol/L. A total below
    the free chlorine gives no combined chlorine: one of the two is wrong.
    """
    water = {name: quantity(name, reading) for name, reading in readings.items() if name in PARAMETERS}
    supply = {name: quantity(name, reading) for name, reading in (fill or {}).items() if name in PARAMETERS}
    water = {**_combined(water), **water}
    return {**_shares(water), **_rise(water, supply), **_same_in_other_unit(water), **water}


def quantity(parameter: str, reading: Reading) -> Quantity:
    """One reading as the range it leaves open, with its error."""
    value = exact(reading.typed)
    if reading.bound == ">":
        return Quantity(value, HIGHEST.get(parameter), open_low=True, at=reading.at)
    if reading.bound == "<":
        low = None if parameter in UNBOUNDED_BELOW else Fraction(0)
        return Quantity(low, value, open_high=True, at=reading.at)
    return Quantity(value, value, plus_minus=_error(parameter, reading), at=reading.at)


def _error(parameter: str, reading: Reading) -> Fraction:
    """The ± of a reading; diluting the sample multiplies the method's error like the reading."""
    factor = exact(reading.dilution_factor)
    as_read = float(exact(reading.typed) / factor)
    if reading.plus_minus is not None:
        return exact(reading.plus_minus)
    return exact(round(plus_minus(parameter, as_read, reading.method), 6)) * factor


def total_below_free(water: Mapping[str, Quantity]) -> bool:
    """Whether the total chlorine read is certainly less than the free chlorine read."""
    free, total = water.get("free_chlorine_mg_l"), water.get("total_chlorine_mg_l")
    if free is None or total is None or total.high is None or free.low is None:
        return False
    return total.high < free.low or (total.high == free.low and (total.open_high or free.open_low))


def _later(first: Quantity, second: Quantity) -> datetime | None:
    if first.at is None or second.at is None:
        return None
    return max(first.at, second.at)


def _difference(more: Quantity, less: Quantity) -> Quantity:
    """more - less; errors add as independent ones do (root of the sum of squares)."""
    low = None if more.low is None or less.high is None else more.low - less.high
    high = None if more.high is None or less.low is None else more.high - less.low
    error = float(more.plus_minus**2 + less.plus_minus**2) ** 0.5
    return Quantity(
        low,
        high,
        more.open_low or less.open_high,
        more.open_high or less.open_low,
        exact(round(error, 6)),
        _later(more, less),
    )


def _combined(water: Mapping[str, Quantity]) -> dict[str, Quantity]:
    free, total = water.get("free_chlorine_mg_l"), water.get("total_chlorine_mg_l")
    if free is None or total is None or total_below_free(water):
        return {}
    rest = _difference(total, free)
    if rest.low is None or rest.low < 0:
        rest = Quantity(Fraction(0), rest.high, False, rest.open_high, rest.plus_minus, rest.at)
    return {"combined_chlorine_mg_l": rest}


def _shares(water: Mapping[str, Quantity]) -> dict[str, Quantity]:
    combined = water.get("combined_chlorine_mg_l")
    wholes = {
        "combined_chlorine_share_of_free": water.get("free_chlorine_mg_l"),
        "combined_chlorine_share_of_total": water.get("total_chlorine_mg_l"),
    }
    if combined is None:
        return {}
    return {name: share for name, whole in wholes.items() if (share := _share(combined, whole)) is not None}


def _share(part: Quantity, whole: Quantity | None) -> Quantity | None:
    """part / whole for plain values; where none is free, all is combined: a share without end."""
    if whole is None or part.low is None or part.low != part.high:
        return None
    if whole.low is None or whole.low != whole.high or part.low == 0 == whole.low:
        return None
    if whole.low == 0:
        return Quantity(BEYOND_EVERY_SHARE, None, open_low=True, at=part.at)
    share = part.low / whole.low
    return Quantity(share, share, plus_minus=part.plus_minus / whole.low, at=part.at)


def _rise(water: Mapping[str, Quantity], supply: Mapping[str, Quantity]) -> dict[str, Quantity]:
    name = "total_dissolved_solids_mg_l"
    if name not in water or name not in supply:
        return {}
    return {"total_dissolved_solids_rise_mg_l": _difference(water[name], supply[name])}


def _same_in_other_unit(water: Mapping[str, Quantity]) -> dict[str, Quantity]:
    """Legionella per litre and per 100 mL, and alkalinity as acid capacity."""
    pairs = (
        ("legionella_cfu_l", "legionella_per_100_ml", Fraction(1, 10)),
        ("legionella_per_100_ml", "legionella_cfu_l", Fraction(10)),
        ("total_alkalinity_mg_l", "acid_capacity_mmol_l", 1 / MG_PER_MMOL_ALKALINITY),
    )
    return {new: water[old].scaled(factor, Fraction(0)) for old, new, factor in pairs if old in water}
