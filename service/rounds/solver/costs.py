"""Prices as whole numbers for the search; the plan's cost is computed again from the real prices.

The scale is chosen so that the dearest drive costs about four million units: rounding stays below
one part in a million, and sums stay far below the limits of the search.
"""

import numpy as np
from numpy.typing import NDArray

from .problem import NO_ROAD_TICKS, Problem, Visit

DEAREST_DRIVE = 2**22
FINEST_RATE = 200
"""Units a tick of working time should at least cost, if it costs anything (0.25 % rounding)."""
COARSEST_DRIVE = 2**27

MOVES_FOR_ONE = 20
"""Visits that may be moved to fit in one that must be served."""

FORBIDDEN = 2**40
"""Cost of driving to a visit one must not serve, or where no road leads."""
LONGEST_ROUTE = 2**39
"""Limit on a round's cost of driving that a forbidden drive breaks."""


class Costs:
    """The problem's prices in whole units."""

    def __init__(self, problem: Problem) -> None:
        prices = problem.prices
        self.problem = problem
        seconds = problem.travel / problem.ticks_per_second
        reachable = problem.travel < NO_ROAD_TICKS
        drives = prices.distance * problem.metres + prices.driving * seconds
        rate = prices.duration / problem.ticks_per_second
        dearest = float((drives + prices.duration * seconds)[reachable].max(initial=0.0))
        self.scale = _scale(dearest, rate)
        self.drives: NDArray[np.int64] = np.rint(drives * self.scale).astype(np.int64)
        self.drives[~reachable] = FORBIDDEN
        self.duration = self._rate(prices.duration)
        self.overtime = self._rate(prices.overtime)
        self.vehicle_day = self.whole(prices.vehicle_day)
        self.changed_technician = self.whole(prices.moved_technician)
        self.not_preferred = self.whole(prices.not_preferred)
        self.most = self._most(dearest)

    def whole(self, price: float) -> int:
        """A price in units."""
        return round(price * self.scale)

    def price(self, units: float) -> float:
        """Units as a price."""
        return units / self.scale

    def moved(self, days: int) -> int:
        """Leaving so many days of the previous plan."""
        return self.whole(self.problem.prices.moved_visit * days)

    def drop(self, visit: Visit) -> int:
        """Leaving a visit out: dearer than any detour unless it is optional and has a penalty.

        An optional visit without a penalty is served whenever it fits, after all required ones.
        """
        penalty = self.whole(visit.drop_penalty or 0.0)
        if not visit.optional:
            return self.most + penalty
        return penalty if visit.drop_penalty is not None else self.most // 4

    def _rate(self, price: float) -> int:
        if price == 0:
            return 0
        return max(1, self.whole(price / self.problem.ticks_per_second))

    def _most(self, dearest: float) -> int:
        """More than any single visit can add to a plan."""
        shifts = [shift for technician in self.problem.technicians for shift in technician.shifts]
        longest = max((shift.latest_back - shift.starts for shift in shifts), default=0)
        day = self.vehicle_day + (self.duration + self.overtime) * longest
        moves = self.moved(MOVES_FOR_ONE)
        return 8 * (2 * self.whole(dearest) + day) + moves + 1000


def _scale(dearest: float, rate: float) -> float:
    """Units per point of price."""
    scale = DEAREST_DRIVE / dearest if dearest > 0 else 1000.0
    if rate > 0:
        scale = max(scale, min(FINEST_RATE / rate, COARSEST_DRIVE / max(dearest, 1e-9)))
    return scale
