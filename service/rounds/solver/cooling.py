"""How hot the search is: one long cooling, or, when there is time, several after each other.

A longer cooling ends in a better week, up to a length; beyond it, how good the week is is mostly luck,
and several coolings, each from a hot start, find better ones than one that is as long as all of them.
"""

import math

HOT, COLD = 1.0, 0.02
"""First and last temperature in mean costs of a drive."""
HOTTER = 3.0
"""First temperature where the search begins with days joined for long: in a valley it must leave."""
ROUNDS_FOR_A_UNIT = 800
"""Rounds of the search that one cooling should have for every unit; measured, see DEVELOPERS.md."""
LEARNED = 100
"""Rounds after which it is known how many there will be."""


class Cooling:
    """The temperature of a search, told how many rounds are done and what share of its time is over."""

    def __init__(self, units: int, *, is_joined: bool = False) -> None:
        self._hot = HOTTER if is_joined else HOT
        self._wanted = math.inf if is_joined else ROUNDS_FOR_A_UNIT * units
        self._begins, self._ends = 0.0, 1.0

    @property
    def is_only(self) -> bool:
        """Whether there is but one cooling."""
        return self._begins == 0.0 and self._ends == 1.0

    def temperature(self, done: int, share: float) -> float:
        """In mean costs of a drive."""
        if self._ends <= share < 1.0:
            self._begins = self._ends
            self._plan(done, share)
        elif done == LEARNED:
            self._plan(done, share)
        position = (share - self._begins) / max(self._ends - self._begins, 1e-9)
        return self._hot * math.pow(COLD / self._hot, min(1.0, position))

    def _plan(self, done: int, share: float) -> None:
        """End this cooling so that those still to come are of equal length, and none too short."""
        left = 1.0 - self._begins
        rounds_left = done / share * left if share > 0 else 0.0
        self._ends = self._begins + left / max(1, int(rounds_left / self._wanted))
