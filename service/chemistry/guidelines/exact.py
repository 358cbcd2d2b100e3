"""Numbers as they were typed, kept exact, and readings as the range they are known to lie in.

A limit is judged on what was typed: 4.4 - 4.0 is 0.4 and a third is a third. So everything a
limit is compared with is a ``Fraction``; ``float`` is left to the chemistry.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction

Limit = Decimal | Fraction
"""A limit of a document, or a value judged by one: what was printed, or an exact share such as 1/3."""


def exact(number: Decimal | Fraction | int | float) -> Fraction:
    """The number as it was typed, as an exact fraction.

    >>> exact(Decimal("4.4")) - exact(4.0) == exact(0.4)
    True
    """
    if isinstance(number, float):
        return Fraction(Decimal(repr(number)))
    return Fraction(number)


def as_limit(number: Fraction) -> Limit:
    """A decimal where the fraction ends within nine places, else the fraction itself.

    >>> as_limit(Fraction(40)), as_limit(Fraction(1, 3))
    (Decimal('40'), Fraction(1, 3))
    """
    decimal = Decimal(number.numerator) / Decimal(number.denominator)
    rounded = round(decimal, 9).normalize() + 0
    return Decimal(format(rounded, "f")) if Fraction(rounded) == number else number


def plain(number: Limit | int) -> str:
    """The number in words for a screen: no exponent, no trailing zeros, simple shares as shares.

    >>> plain(Decimal("3.0")), plain(Fraction(1, 3)), plain(Fraction(10, 17))
    ('3', '1/3', '0.588')
    """
    if isinstance(number, Fraction):
        if number.denominator in (3, 7, 9) and abs(number.numerator) < number.denominator:
            return str(number)
        number = as_limit(number)
    if isinstance(number, Fraction):
        number = round(Decimal(number.numerator) / Decimal(number.denominator), 3)
    text = format(Decimal(number), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


@dataclass(frozen=True)
class Quantity:
    """What is known of one parameter: a value, or a range when the test could only say "less than".

    low, high   Ends of the range in the parameter's own unit, None where it has none; equal for a value.
    open_low    The lower end itself is excluded (a reading of ">10").
    open_high   The upper end itself is excluded (a reading of "<3").
    plus_minus  Half width of the reading's error in the same unit, 0 where it is not known.
    at          When it was read (the later of two readings for a difference), None when not known.
    """

    low: Fraction | None
    high: Fraction | None
    open_low: bool = False
    open_high: bool = False
    plus_minus: Fraction = Fraction(0)
    at: datetime | None = None

    @property
    def value(self) -> Fraction | None:
        """The value, or the end that a bounded reading names; None when nothing is known."""
        if self.low == self.high or self.open_low:
            return self.low
        return self.high if self.open_high else None

    @property
    def bound(self) -> str | None:
        """ ">" or "<" for a bounded reading, else None."""
        if self.low == self.high:
            return None
        return ">" if self.open_low else "<"

    def scaled(self, factor: Fraction, offset: Fraction) -> Quantity:
        """The same quantity in another unit: ``value * factor + offset``, factor > 0."""

        def move(end: Fraction | None) -> Fraction | None:
            return None if end is None else end * factor + offset

        return Quantity(
            move(self.low), move(self.high), self.open_low, self.open_high, self.plus_minus * factor, self.at
        )

    def is_below(self, limit: Fraction, *, or_at: bool = False) -> bool | None:
        """Whether it lies below the limit (or at it); None when the reading cannot tell.

        >>> under_three = Quantity(Fraction(0), Fraction(3), open_high=True)
        >>> under_three.is_below(Fraction(3)), under_three.is_below(Fraction(1))
        (True, None)
        """
        if self.high is not None and (
            self.high < limit or (self.high == limit and (self.open_high or or_at))
        ):
            return True
        if self.low is not None and (
            self.low > limit or (self.low == limit and (self.open_low or not or_at))
        ):
            return False
        return None

    def is_above(self, limit: Fraction, *, or_at: bool = False) -> bool | None:
        """Whether it lies above the limit (or at it); None when the reading cannot tell.

        >>> over_ten = Quantity(Fraction(10), None, open_low=True)
        >>> over_ten.is_above(Fraction(10)), over_ten.is_above(Fraction(20))
        (True, None)
        """
        below = self.is_below(limit, or_at=not or_at)
        return None if below is None else not below

    def is_near(self, limit: Fraction) -> bool:
        """Whether the limit lies inside value ± error; a reading without a known error is never near."""
        if self.plus_minus == 0 or self.low is None or self.low != self.high:
            return False
        return abs(self.low - limit) <= self.plus_minus
