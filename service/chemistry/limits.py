"""What the engine accepts, and the sentence it answers otherwise."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from math import isfinite
from typing import Any

from .errors import FieldError


@dataclass(frozen=True, slots=True)
class Limit:
    """The accepted range of a number, both ends allowed unless `above_low`.

    label  What a technician calls it. unit: "" for a bare number. above_low: the low end itself is out.
    """

    label: str
    unit: str
    low: float
    high: float
    above_low: bool = False

    @property
    def range_words(self) -> str:
        """The range in words.

        >>> Limit("Total alkalinity", "mg/L as CaCO3", 0, 1000).range_words
        'from 0 to 1000 mg/L as CaCO3'
        >>> Limit("Active fraction", "", 0, 1, above_low=True).range_words
        'above 0 and at most 1'
        """
        span = (
            f"above {self.low:g} and at most {self.high:g}"
            if self.above_low
            else f"from {self.low:g} to {self.high:g}"
        )
        return f"{span} {self.unit}".rstrip()

    def check(self, value: Any, field: str) -> Decimal | FieldError:
        """The number exactly as typed, or what is wrong with it.

        >>> Limit("pH", "", 0, 14).check(7.4, "readings.ph")
        Decimal('7.4')
        >>> Limit("pH", "", 0, 14).check(15, "readings.ph").message
        'pH must be from 0 to 14'
        >>> Limit("pH", "", 0, 14).check("acid", "readings.ph").message
        'pH must be a number from 0 to 14'
        """
        number = exact_number(value)
        if number is None:
            return FieldError(field, f"{self.label} must be a number {self.range_words}")
        too_low = number <= Decimal(repr(self.low)) if self.above_low else number < Decimal(repr(self.low))
        if too_low or number > Decimal(repr(self.high)):
            return FieldError(field, f"{self.label} must be {self.range_words}")
        return number


def exact_number(value: Any) -> Decimal | None:
    """A finite number as the decimal a person typed; None for text, truth values, NaN and infinity.

    >>> exact_number(4.4) - exact_number(4.0)
    Decimal('0.4')
    >>> exact_number("4.4") is None and exact_number(float("nan")) is None
    True
    """
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        return None
    if isinstance(value, float):
        return Decimal(repr(value)) if isfinite(value) else None
    try:
        number = Decimal(value)
    except InvalidOperation:
        return None
    return number if number.is_finite() else None


VOLUME = Limit("Volume", "L", 100, 20000)
MASS = Limit("Mass", "g", 0, 100000)
ACTIVE_FRACTION = Limit("Active fraction", "", 0, 1, above_low=True)
REPLACE_FRACTION = Limit("Replaced fraction", "", 0, 1)
TEMPERATURE = Limit("Water temperature", "°C", 0, 45)
LOG10_PCO2 = Limit("Carbon dioxide pressure of the air", "log10 atm", -5, 0)
FREE_CHLORINE_USED = Limit("Free chlorine used", "mg/L as Cl2", 0, 1000)
BACKGROUND_ION = Limit("Background ion", "mmol/L", 0, 1000)
DILUTION_FACTOR = Limit("Dilution factor", "", 1, 1000)
PLUS_MINUS = Limit("Plus or minus", "", 0, 10000)
