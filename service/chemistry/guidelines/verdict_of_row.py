"""One quantity against one row: which limit is left, by how grave a step, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from .exact import Limit, Quantity, exact
from .finding import ADVICE, CLOSURE, OUT_OF_RANGE
from .parameters import MICROBIOLOGY
from .rows import Row

TIERS = (
    (CLOSURE, "close_below", "close_above"),
    (OUT_OF_RANGE, "min", "max"),
    (ADVICE, "ideal_low", "ideal_high"),
)
"""Severity with the names of its lower and upper limit, gravest first."""


@dataclass(frozen=True)
class Crossing:
    """A limit that is left, or that may be left.

    severity  Tier of the limit. limit_name: which of the six. certain: False when the reading cannot tell.
    """

    severity: str
    limit_name: str
    limit: Limit
    certain: bool

    @property
    def is_lower(self) -> bool:
        """Whether it is the lower end of its tier."""
        return self.limit_name in ("close_below", "min", "ideal_low")


@dataclass(frozen=True)
class RowVerdict:
    """What one row says of one quantity.

    crossed   The gravest limit certainly left, None when none is.
    doubtful  The gravest limit that may be left but cannot be told, if graver than crossed.
    near      A limit that lies within the reading's error, None when none does.
    """

    crossed: Crossing | None
    doubtful: Crossing | None
    near: Crossing | None


def verdict_of_row(row: Row, quantity: Quantity) -> RowVerdict:
    """Judge a quantity, given in the parameter's own unit, in the unit of the row's document."""
    there = quantity.scaled(*row.conversion)
    crossings = [found for tier in TIERS for found in _crossings(row, tier, there)]
    certain = [found for found in crossings if found.certain]
    crossed = certain[0] if certain else None
    graver = crossings[: crossings.index(crossed)] if crossed else crossings
    return RowVerdict(crossed, graver[0] if graver else None, _near(row, there))


def _crossings(row: Row, tier: tuple[str, str, str], there: Quantity) -> list[Crossing]:
    severity, lower, upper = tier
    found = []
    for name, limit in ((lower, row.limit(lower)), (upper, row.limit(upper))):
        if limit is None or (limit == 0 and _not_detected(row, there)):
            continue
        test = there.is_below if name == lower else there.is_above
        outside = test(exact(limit), or_at=name in row.exclusive)
        if outside is not False:
            found.append(Crossing(severity, name, limit, certain=outside is True))
    return found


def _not_detected(row: Row, there: Quantity) -> bool:
    """A laboratory writes "<10" for "none found": that meets a limit of none."""
    return row.parameter in MICROBIOLOGY and there.bound == "<"


def _near(row: Row, there: Quantity) -> Crossing | None:
    """The nearest limit within the error; a natural zero is no limit to be near to, nor is an ideal."""
    near: list[tuple[Fraction, Crossing]] = []
    for severity, *names in TIERS[:2]:
        for name in names:
            limit = row.limit(name)
            if limit is not None and limit != 0 and there.is_near(exact(limit)):
                distance = abs(exact(limit) - (there.low or 0))
                near.append((distance, Crossing(severity, name, limit, certain=False)))
    return min(near, key=lambda pair: pair[0])[1] if near else None
