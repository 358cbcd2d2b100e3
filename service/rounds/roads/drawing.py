"""The roads of an extract as SVG paths: joined end to end, simplified, on a coarse grid.

One drawing holds the whole extract; a page crops it by its view box.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .driving import RoadClass
from .earth import Floats, Plane
from .graph import RoadGraph
from .times import Point

GRID_M = 4
"""Metres of one unit of the drawing."""
TOLERANCE_M = 10
"""A bend that strays less from the straight is left out: two pixels at most on a phone."""
SHORTEST_M = 40
"""A side road shorter than this would be a dot."""
MOST_EDGES = 20_000
"""An extract with more side roads than this is drawn without them: they would be a grey mass."""
WIDTH_PX = {RoadClass.MAIN: 2.2, RoadClass.MIDDLE: 1.4, RoadClass.MINOR: 0.7}
DRAWING_ID = "roads"
DRAWING_VERSION = 1
"""Raise it when the same roads would be drawn otherwise."""

Line = NDArray[np.int64]


@dataclass(frozen=True)
class Sheet:
    """Where a position lies on the drawing: units of GRID_M, x to the east, y to the south."""

    plane: Plane
    height: float

    @classmethod
    def of(cls, graph: RoadGraph) -> "Sheet":
        """The sheet that the whole extract just fits on."""
        latitude, longitude = graph.shape_degrees
        middle = Plane.at(float(latitude.min() + latitude.max()) / 2, 0.0)
        plane = Plane(float(latitude.min()), float(longitude.min()), middle.metres_north, middle.metres_east)
        _, top = plane.xy(latitude.max(), longitude.max())
        return cls(plane, float(top) / GRID_M)

    def xy(self, latitude: Floats, longitude: Floats) -> tuple[Floats, Floats]:
        """Units to the right and downwards."""
        east, north = self.plane.xy(latitude, longitude)
        return east / GRID_M, self.height - north / GRID_M

    def at(self, point: Point) -> tuple[float, float]:
        """Where one point lies."""
        x, y = self.xy(np.array(point.latitude), np.array(point.longitude))
        return round(float(x), 1), round(float(y), 1)


def drawing(graph: RoadGraph) -> str:
    """The roads as an SVG file with one group, ``#roads``, to be used by pages.

    Colour is the page's (``currentColor``); line widths are in pixels however far it is cropped.
    """
    sheet = Sheet.of(graph)
    x, y = sheet.xy(*graph.shape_degrees)
    right, bottom = (int(axis.max()) + 1 for axis in (x, y))
    paths = "\n".join(_path(graph, x, y, kind) for kind in reversed(RoadClass))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {right} {bottom}">\n'
        f'<g id="{DRAWING_ID}" fill="none" stroke="currentColor" stroke-linejoin="round">\n{paths}\n</g>\n'
        f"<metadata>Road data © OpenStreetMap contributors, Open Database Licence 1.0</metadata>\n</svg>\n"
    )


def _path(graph: RoadGraph, x: Floats, y: Floats, kind: RoadClass) -> str:
    edges = np.flatnonzero(graph.edge_class == kind).tolist()
    if kind == RoadClass.MINOR and len(edges) > MOST_EDGES:
        edges = []
    lines = [_course(graph, x, y, chain) for chain in _chains(graph, edges)]
    whole = [np.rint(simplified(line, TOLERANCE_M / GRID_M)).astype(np.int64) for line in lines]
    least = SHORTEST_M / GRID_M if kind == RoadClass.MINOR else 1
    data = path_data(line for line in whole if np.ptp(line, axis=0).max() >= least)
    return f'<path stroke-width="{WIDTH_PX[kind]}" vector-effect="non-scaling-stroke" d="{data}"/>'


def _chains(graph: RoadGraph, edges: Sequence[int]) -> list[list[int]]:
    """Edges joined where exactly two of them meet. An edge against its drawn direction is ``~edge``."""
    meeting = defaultdict(list)
    for edge in edges:
        meeting[int(graph.edge_from[edge])].append(edge)
        meeting[int(graph.edge_to[edge])].append(~edge)
    left = dict.fromkeys(edges)
    chains = []
    while left:
        edge = next(iter(left))
        del left[edge]
        ahead = _followed(graph, meeting, left, edge)
        behind = _followed(graph, meeting, left, ~edge)
        chains.append([*(~step for step in reversed(behind)), edge, *ahead])
    return chains


def _followed(graph: RoadGraph, meeting: dict[int, list[int]], left: dict[int, None], edge: int) -> list[int]:
    """The edges after ``edge``, taken out of ``left``, as far as nothing branches off."""
    chain: list[int] = []
    while True:
        node = int(graph.edge_to[edge] if edge >= 0 else graph.edge_from[~edge])
        onward = [step for step in meeting[node] if step != ~edge]
        if len(meeting[node]) != 2 or len(onward) != 1 or _drawn(onward[0]) not in left:
            return chain
        edge = onward[0]
        del left[_drawn(edge)]
        chain.append(edge)


def _drawn(edge: int) -> int:
    return edge if edge >= 0 else ~edge


def _course(graph: RoadGraph, x: Floats, y: Floats, chain: Sequence[int]) -> Floats:
    parts = []
    for step in chain:
        edge = _drawn(step)
        span = slice(int(graph.shape_start[edge]), int(graph.shape_start[edge + 1]))
        part = np.stack([x[span], y[span]], axis=1)
        parts.append(part if step >= 0 else part[::-1])
    return np.concatenate([parts[0], *(part[1:] for part in parts[1:])])


def simplified(line: Floats, tolerance: float) -> Floats:
    """The line without positions that stray at most ``tolerance`` from it, ends kept.

    D. H. Douglas and T. K. Peucker, "Algorithms for the reduction of the number of points required to
    represent a digitized line or its caricature", Cartographica 10 (1973) 112-122.
    """
    kept = np.zeros(len(line), dtype=bool)
    kept[[0, -1]] = True
    spans = [(0, len(line) - 1)]
    while spans:
        first, last = spans.pop()
        if last - first < 2:
            continue
        strayed = _strayed(line[first + 1 : last], line[first], line[last])
        furthest = int(strayed.argmax())
        if strayed[furthest] > tolerance:
            middle = first + 1 + furthest
            kept[middle] = True
            spans += [(first, middle), (middle, last)]
    return line[kept]


def _strayed(points: Floats, start: Floats, end: Floats) -> Floats:
    run = end - start
    length_squared = max(float(run @ run), 1e-12)
    along = np.clip((points - start) @ run / length_squared, 0, 1)
    away = points - start - along[:, None] * run
    distances: Floats = np.hypot(away[:, 0], away[:, 1])
    return distances


def path_data(lines: Iterable[Line]) -> str:
    """Path data with relative steps, as few signs as the grammar allows.

    >>> path_data([np.array([[10, 20], [13, 18], [13, 25]]), np.array([[0, 0], [1, 1]])])
    'm10 20 3-2 0 7m-13-25 1 1'
    """
    here = np.zeros(2, dtype=np.int64)
    told = []
    for line in lines:
        steps = np.diff(np.concatenate([here[None, :], line]), axis=0)
        steps = np.concatenate([steps[:1], steps[1:][np.any(steps[1:] != 0, axis=1)]])
        told.append("m" + " ".join(str(value) for value in steps.ravel().tolist()).replace(" -", "-"))
        here = line[-1]
    return "".join(told)
