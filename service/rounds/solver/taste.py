"""How much is left to chance when units are put back."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Taste:
    """``skipped``: share of a unit's choices not looked at. ``noise``: most an insertion is overrated.

    ``eagerness`` multiplies what leaving a unit out seems to cost: visits that do not pay one by one
    may pay together.
    """

    skipped: float = 0.15
    noise: float = 0.1
    eagerness: float = 1.0


NORMAL = Taste()
EAGER = Taste(eagerness=4.0)
EXACT = Taste(0.0, 0.0)
