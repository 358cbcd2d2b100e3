"""From a pin to the nearest place on a road, which may lie anywhere along a stretch."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .earth import Floats, Plane
from .graph import Flags, RoadGraph
from .pins import CUT_OFF, MOST_M, QUIET_M, no_road_within, outside_map
from .times import Point


@dataclass(frozen=True)
class Snap:
    """Where a pin meets the roads.

    edge, share   The edge and how far along it, 0 to 1; edge -1 when there is none.
    metres        From the pin to that place.
    position      That place, in degrees.
    reason        Why the pin has no drives; "" when it has.
    """

    edge: int
    share: float
    metres: float
    position: tuple[float, float]
    reason: str = ""


class Segments:
    """Every straight piece of every road, to look for the nearest one."""

    def __init__(self, graph: RoadGraph) -> None:
        last_of_edge = graph.shape_start[1:-1] - 1
        first = np.delete(np.arange(len(graph.shape_latitude) - 1), last_of_edge)
        self._graph = graph
        self._edge = (np.searchsorted(graph.shape_start, first, side="right") - 1).astype(np.int32)
        self._main: Flags = graph.edge_main[self._edge]
        latitude, longitude = graph.shape_degrees
        self._start = np.stack([latitude[first], longitude[first]])
        self._end = np.stack([latitude[first + 1], longitude[first + 1]])
        self._low = np.minimum(self._start, self._end)
        self._high = np.maximum(self._start, self._end)
        self._first = first
        self._corner = self._low.min(axis=1), self._high.max(axis=1)

    def snap(self, point: Point) -> Snap:
        """The place on the main roads nearest to ``point``.

        A road that is cut off from them is passed over when a main road lies at most 60 m further;
        otherwise the pin is said to be cut off.
        """
        plane = Plane.at(point.latitude, point.longitude)
        near = self._within(point, plane, MOST_M)
        away, along = self._distances_m(plane, near)
        if not len(near) or away.min() > MOST_M:
            return self._too_far(point, plane)
        main = self._main[near]
        nearest, main_m = away.min(), np.where(main, away, np.inf)
        if main_m.min() > min(nearest + QUIET_M, MOST_M):
            return self._at(near, away, along, int(away.argmin()), reason=CUT_OFF)
        return self._at(near, away, along, int(main_m.argmin()))

    def _within(self, point: Point, plane: Plane, metres: float) -> NDArray[np.int64]:
        reach = metres / plane.metres_north, metres / max(plane.metres_east, 1.0)
        here = point.latitude, point.longitude
        inside = np.ones(len(self._edge), dtype=bool)
        for axis in (0, 1):
            inside &= self._low[axis] <= here[axis] + reach[axis]
            inside &= self._high[axis] >= here[axis] - reach[axis]
        return np.flatnonzero(inside)

    def _distances_m(self, plane: Plane, near: NDArray[np.int64]) -> tuple[Floats, Floats]:
        """Metres from the plane's origin to each segment, and the share along it of the nearest place."""
        x, y = plane.xy(*self._start[:, near])
        end_x, end_y = plane.xy(*self._end[:, near])
        run_x, run_y = end_x - x, end_y - y
        length_squared = np.maximum(run_x**2 + run_y**2, 1e-9)
        along = np.clip(-(x * run_x + y * run_y) / length_squared, 0, 1)
        return np.hypot(x + along * run_x, y + along * run_y), along

    def _at(self, near: NDArray[np.int64], away: Floats, along: Floats, best: int, reason: str = "") -> Snap:
        segment = int(near[best])
        edge = int(self._edge[segment])
        position = self._start[:, segment] + along[best] * (self._end[:, segment] - self._start[:, segment])
        return Snap(
            edge=edge,
            share=self._share(edge, segment, float(along[best])),
            metres=float(away[best]),
            position=(float(position[0]), float(position[1])),
            reason=reason,
        )

    def _share(self, edge: int, segment: int, along: float) -> float:
        """How far along its edge a place on a segment lies."""
        share = self._graph.shape(edge).share
        place = int(self._first[segment] - self._graph.shape_start[edge])
        return float(share[place] + along * (share[place + 1] - share[place]))

    def _too_far(self, point: Point, plane: Plane) -> Snap:
        here = point.latitude, point.longitude
        low, high = self._corner
        past = [max(low[axis] - here[axis], here[axis] - high[axis], 0.0) for axis in (0, 1)]
        past_m = float(np.hypot(past[0] * plane.metres_north, past[1] * plane.metres_east))
        away, _ = self._distances_m(plane, np.arange(len(self._edge)))
        nearest_m = float(away.min())
        reason = outside_map(past_m) if past_m > MOST_M else no_road_within(nearest_m)
        return Snap(-1, 0.0, nearest_m, here, reason)
