"""How much is left to chance when units are put back."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Taste:
    """``skipped``: share of a unit's choices not looked at. ``noise``: most an insertion is overrated."""

    skipped: float = 0.15
    noise: float = 0.1


EXACT = Taste(0.0, 0.0)
