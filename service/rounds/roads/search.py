"""Quickest drives in a road graph, seconds and metres in one search.

The weight of an edge is one whole number, centiseconds × 2²⁴ + decimetres. Sums of such numbers order
first by time, then by length, stay exact in double precision (up to 2⁵³: 62 days, 1,677 km a drive),
and give both figures of the quickest drive back at its end. Being exact, a row searched alone equals
the row of the whole matrix, whatever else was searched with it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from .earth import Floats
from .graph import Flags, RoadGraph
from .snapping import Snap

_METRE_SPACE = 2.0**24
JUNCTION_M = 5.0
"""A pin this near a junction stands at it, on whichever of its roads: no van goes round the block for it."""
_AT_ONCE = 64
"""Sources of one search: keeps memory at 64 × junctions."""


@dataclass(frozen=True)
class Ways:
    """Snapped pins as arrays: edge (-1 for none) and share along it."""

    edge: NDArray[np.int64]
    share: Floats

    @classmethod
    def of(cls, snaps: Sequence[Snap]) -> "Ways":
        """Those of pins that have no drives stand as -1."""
        edge = np.array([-1 if snap.reason else snap.edge for snap in snaps], dtype=np.int64)
        return cls(edge, np.array([snap.share for snap in snaps], dtype=np.float64))


@dataclass(frozen=True)
class _Ends:
    """The two ends of each pin's edge as nodes, and the weight between pin and end (inf: not allowed)."""

    node: NDArray[np.int64]
    weight: Floats


@dataclass(frozen=True)
class _Arcs:
    """Drivable connections between junctions: of several between the same two, the quickest."""

    matrix: csr_array
    edge: NDArray[np.int64]

    @classmethod
    def of(cls, graph: RoadGraph, weight: Floats) -> "_Arcs":
        edges = np.arange(len(weight))
        edge = np.concatenate([edges[graph.edge_forward], edges[graph.edge_backward]])
        tail = np.concatenate([graph.edge_from[graph.edge_forward], graph.edge_to[graph.edge_backward]])
        head = np.concatenate([graph.edge_to[graph.edge_forward], graph.edge_from[graph.edge_backward]])
        order = np.lexsort((edge, weight[edge], head, tail))
        tail, head, edge = tail[order], head[order], edge[order]
        # A search never gains by a road that returns to the junction it left.
        kept = np.concatenate([[True], (np.diff(tail) != 0) | (np.diff(head) != 0)]) & (tail != head)
        tail, head, edge = tail[kept], head[kept], edge[kept]
        nodes = len(graph.node_main)
        start = np.concatenate([[0], np.cumsum(np.bincount(tail, minlength=nodes))])
        return cls(csr_array((weight[edge], head, start), shape=(nodes, nodes)), edge)

    def edge_between(self, tail: int, head: int) -> int:
        """The edge whose arc leads from one junction to the next."""
        first, last = self.matrix.indptr[tail], self.matrix.indptr[tail + 1]
        place = int(np.flatnonzero(self.matrix.indices[first:last] == head)[0])
        return int(self.edge[first + place])


class Search:
    """A road graph made ready for searching."""

    def __init__(self, graph: RoadGraph) -> None:
        self._graph = graph
        seconds = graph.edge_metres / graph.edge_speed_km_h * 3.6
        self._seconds = seconds
        self._arcs = _Arcs.of(graph, _weight(seconds, graph.edge_metres))
        self._against = csr_array(self._arcs.matrix.T)

    def drives(self, starts: Ways, ends: Ways) -> tuple[Floats, Floats]:
        """Seconds and metres along the roads, [start][end]; inf where there is no drive."""
        out, into = self._exits(starts), self._entries(ends)
        best = self._along_one_edge(starts, ends)
        sources, source_of = np.unique(out.node, return_inverse=True)
        targets, target_of = np.unique(into.node, return_inverse=True)
        between = self._between(sources, targets)
        source_of, target_of = source_of.reshape(2, -1), target_of.reshape(2, -1)
        for leaving in (0, 1):
            for arriving in (0, 1):
                through = between[source_of[leaving][:, None], target_of[arriving][None, :]]
                through = through + out.weight[leaving][:, None] + into.weight[arriving][None, :]
                np.minimum(best, through, out=best)
        return _unpacked(best)

    def course(self, start: Snap, end: Snap) -> list[tuple[float, float]]:
        """Positions in degrees along the quickest drive between two pins that have drives."""
        first, last = Ways.of([start]), Ways.of([end])
        out, into = self._exits(first), self._entries(last)
        direct = float(self._along_one_edge(first, last)[0, 0])
        weights, before = dijkstra(self._arcs.matrix, indices=out.node[:, 0], return_predecessors=True)
        total = out.weight[:, 0][:, None] + weights[:, into.node[:, 0]] + into.weight[:, 0][None, :]
        leaving, arriving = (int(i) for i in np.unravel_index(int(total.argmin()), total.shape))
        if direct <= total[leaving, arriving]:
            return self._graph.shape(start.edge).part(start.share, end.share)
        nodes = _walk_back(before[leaving], int(into.node[arriving, 0]))
        course = self._graph.shape(start.edge).part(start.share, 1.0 - leaving)
        for tail, head in pairwise(nodes):
            course += self._whole(tail, head)[1:]
        return course + self._graph.shape(end.edge).part(float(arriving), end.share)[1:]

    def _exits(self, ways: Ways) -> _Ends:
        """From a pin on to the end of its edge (drawn direction), or back to its beginning."""
        graph, edge = self._graph, ways.edge
        return self._ends(
            ways,
            nodes=(graph.edge_to[edge], graph.edge_from[edge]),
            shares=(1 - ways.share, ways.share),
            allowed=(graph.edge_forward[edge], graph.edge_backward[edge]),
        )

    def _entries(self, ways: Ways) -> _Ends:
        """To a pin from the beginning of its edge (drawn direction), or from its end."""
        graph, edge = self._graph, ways.edge
        return self._ends(
            ways,
            nodes=(graph.edge_from[edge], graph.edge_to[edge]),
            shares=(ways.share, 1 - ways.share),
            allowed=(graph.edge_forward[edge], graph.edge_backward[edge]),
        )

    def _ends(
        self,
        ways: Ways,
        *,
        nodes: tuple[NDArray[np.int32], NDArray[np.int32]],
        shares: tuple[Floats, Floats],
        allowed: tuple[Flags, Flags],
    ) -> _Ends:
        length_m, there = self._graph.edge_metres[ways.edge], ways.edge >= 0
        weights = [
            np.where(
                there & (may | (share * length_m <= JUNCTION_M)), self._part_weight(ways.edge, share), np.inf
            )
            for may, share in zip(allowed, shares, strict=True)
        ]
        return _Ends(np.stack(nodes).astype(np.int64), np.stack(weights))

    def _part_weight(self, edge: NDArray[np.int64], share: Floats) -> Floats:
        return _weight(self._seconds[edge] * share, self._graph.edge_metres[edge] * share)

    def _along_one_edge(self, starts: Ways, ends: Ways) -> Floats:
        """Weight between pins of one edge without leaving it; inf for all others."""
        best = np.full((len(starts.edge), len(ends.edge)), np.inf)
        shared = (starts.edge[:, None] == ends.edge[None, :]) & (starts.edge >= 0)[:, None]
        start, end = np.nonzero(shared)
        edge, step = starts.edge[start], ends.share[end] - starts.share[start]
        ahead, back = self._graph.edge_forward[edge], self._graph.edge_backward[edge]
        allowed = np.where(step > 0, ahead, np.where(step < 0, back, True))
        best[start, end] = np.where(allowed, self._part_weight(edge, np.abs(step)), np.inf)
        return best

    def _between(self, sources: NDArray[np.int64], targets: NDArray[np.int64]) -> Floats:
        """Weights from junction to junction, searched from whichever side is fewer."""
        if len(targets) < len(sources):
            return self._from_each(self._against, targets, sources).T
        return self._from_each(self._arcs.matrix, sources, targets)

    def _from_each(self, arcs: csr_array, sources: NDArray[np.int64], targets: NDArray[np.int64]) -> Floats:
        found = np.empty((len(sources), len(targets)))
        for first in range(0, len(sources), _AT_ONCE):
            some = slice(first, first + _AT_ONCE)
            found[some] = dijkstra(arcs, indices=sources[some])[:, targets]
        return found

    def _whole(self, tail: int, head: int) -> list[tuple[float, float]]:
        """Positions of the edge that the search took between two junctions."""
        edge = self._arcs.edge_between(tail, head)
        forward = self._graph.edge_from[edge] == tail
        return self._graph.shape(edge).part(*((0.0, 1.0) if forward else (1.0, 0.0)))


def _weight(seconds: Floats, metres: Floats) -> Floats:
    weight: Floats = np.rint(seconds * 100) * _METRE_SPACE + np.rint(metres * 10)
    # Nought would mean "no connection" to a sparse matrix; a decimetre does no harm.
    return np.maximum(weight, 1.0)


def _unpacked(weight: Floats) -> tuple[Floats, Floats]:
    """Seconds and metres of weights; inf stays inf."""
    finite = np.isfinite(weight)
    whole = np.where(finite, weight, 0.0)
    seconds, metres = np.divmod(whole, _METRE_SPACE)
    return np.where(finite, seconds / 100, np.inf), np.where(finite, metres / 10, np.inf)


def _walk_back(before: NDArray[np.int32], node: int) -> list[int]:
    """Junctions from the source of a search to ``node``."""
    nodes = [node]
    while before[nodes[-1]] >= 0:
        nodes.append(int(before[nodes[-1]]))
    return nodes[::-1]
