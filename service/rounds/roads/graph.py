"""The road graph: junctions, the stretches of road between them, and which of it hangs together.

An *edge* is one stretch of one way between two junctions, with one speed; a search may start and end
anywhere along it. The graph is kept as one compressed file whose bytes depend on the extract and on
this code only.
"""

import hashlib
import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass, fields, replace
from itertools import count, pairwise
from pathlib import Path
from tempfile import NamedTemporaryFile
from zipfile import BadZipFile

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from . import driving
from .earth import Floats, distance_m
from .read_extract import Extract, Place, Way
from .times import RoadsError

Ints = NDArray[np.int32]
Flags = NDArray[np.bool_]

BUILDER = 1
"""Raise it when the same extract would give another graph."""


@dataclass(frozen=True)
class Shape:
    """Positions along an edge in degrees, and the share of its length (0 to 1) at which each lies."""

    latitude: Floats
    longitude: Floats
    share: Floats

    def at(self, share: float) -> tuple[float, float]:
        """The position at a share of the length."""
        here = np.interp(share, self.share, self.latitude), np.interp(share, self.share, self.longitude)
        return float(here[0]), float(here[1])

    def part(self, start: float, end: float) -> list[tuple[float, float]]:
        """Positions from one share to another, either way round."""
        low, high = min(start, end), max(start, end)
        inner = (self.share > low) & (self.share < high)
        between = zip(self.latitude[inner].tolist(), self.longitude[inner].tolist(), strict=True)
        part = [self.at(low), *between, self.at(high)]
        return part if start <= end else part[::-1]


@dataclass(frozen=True)
class RoadGraph:
    """Nodes (junctions and ends) and edges, as arrays. Positions are in 1e-7 degrees.

    edge_speed_km_h        One speed along the edge.
    edge_metres            Its length.
    edge_forward/backward  Whether it may be driven as drawn (from → to), and against.
    edge_class             driving.RoadClass.
    shape_start            Where the positions of an edge begin; one more entry than edges.
    node_main              In the largest part where every node reaches every other.
    """

    node_latitude: Ints
    node_longitude: Ints
    node_main: Flags
    edge_from: Ints
    edge_to: Ints
    edge_metres: Floats
    edge_speed_km_h: Floats
    edge_forward: Flags
    edge_backward: Flags
    edge_class: NDArray[np.uint8]
    shape_start: Ints
    shape_latitude: Ints
    shape_longitude: Ints
    sha256: str
    date: str
    version: str
    places: tuple[Place, ...]

    @property
    def edge_main(self) -> Flags:
        main: Flags = self.node_main[self.edge_from] & self.node_main[self.edge_to]
        return main

    @property
    def shape_degrees(self) -> tuple[Floats, Floats]:
        """Latitude and longitude of every position of every edge."""
        return _degrees(self.shape_latitude), _degrees(self.shape_longitude)

    def shape(self, edge: int) -> "Shape":
        """The course of an edge, ends included."""
        span = slice(int(self.shape_start[edge]), int(self.shape_start[edge + 1]))
        latitude, longitude = _degrees(self.shape_latitude[span]), _degrees(self.shape_longitude[span])
        steps = distance_m(latitude[:-1], longitude[:-1], latitude[1:], longitude[1:])
        along = np.concatenate([[0.0], np.cumsum(steps)])
        return Shape(latitude, longitude, along / max(float(along[-1]), 1e-9))


_TEXTS = ("sha256", "date", "version", "places")
_ARRAYS = tuple(field.name for field in fields(RoadGraph) if field.name not in _TEXTS)


def version_of(sha256: str) -> str:
    """Digest of an extract's digest, the speeds and this builder."""
    speeds = [driving.SPEED_KM_H, driving.LINK_SHARE, driving.MAXSPEED_SHARE, sorted(driving.NO_ENTRY)]
    told = json.dumps([sha256, BUILDER, *speeds, sorted(driving.PASSABLE_BARRIERS)], sort_keys=True)
    return hashlib.sha256(told.encode()).hexdigest()[:16]


def build_graph(extract: Extract) -> RoadGraph:
    """Cut the ways at junctions, measure them, and flag the part that hangs together."""
    positions = dict(extract.positions)
    edges = list(_edges(extract, positions))
    ends = sorted({node for way in edges for node in (way.nodes[0], way.nodes[-1])})
    number = {node: place for place, node in enumerate(ends)}
    shape = [positions[node] for way in edges for node in way.nodes]
    latitude, longitude = np.array(shape, dtype=np.int32).T
    start = np.concatenate([[0], np.cumsum([len(way.nodes) for way in edges])]).astype(np.int32)
    edge_from = np.array([number[way.nodes[0]] for way in edges], dtype=np.int32)
    edge_to = np.array([number[way.nodes[-1]] for way in edges], dtype=np.int32)
    forward = np.array([way.forward for way in edges])
    backward = np.array([way.backward for way in edges])
    node_positions = np.array([positions[node] for node in ends], dtype=np.int32)
    return RoadGraph(
        node_latitude=node_positions[:, 0].copy(),
        node_longitude=node_positions[:, 1].copy(),
        node_main=_main_part(len(ends), edge_from, edge_to, forward, backward),
        edge_from=edge_from,
        edge_to=edge_to,
        edge_metres=_lengths_m(latitude, longitude, start),
        edge_speed_km_h=np.array([way.speed_km_h for way in edges], dtype=np.float64),
        edge_forward=forward,
        edge_backward=backward,
        edge_class=np.array([way.road_class for way in edges], dtype=np.uint8),
        shape_start=start,
        shape_latitude=latitude.copy(),
        shape_longitude=longitude.copy(),
        sha256=extract.sha256,
        date=extract.date,
        version=version_of(extract.sha256),
        places=tuple(extract.places),
    )


def _edges(extract: Extract, positions: dict[int, tuple[int, int]]) -> Iterator[Way]:
    """The ways cut wherever two meet or a van is stopped.

    At a node that stops a van every edge gets an end of its own, added to ``positions`` under a new
    number, so that no two edges touch there.
    """
    uses = Counter(node for way in extract.ways for node in way.nodes)
    fresh = count(min(positions) - 1, -1)

    def end(node: int) -> int:
        if node not in extract.blocked:
            return node
        positions[own := next(fresh)] = positions[node]
        return own

    for way in extract.ways:
        cuts = [place for place, node in enumerate(way.nodes) if uses[node] > 1 or node in extract.blocked]
        for first, last in pairwise(sorted({0, *cuts, len(way.nodes) - 1})):
            nodes = (end(way.nodes[first]), *way.nodes[first + 1 : last], end(way.nodes[last]))
            yield replace(way, nodes=nodes)


def _degrees(position: Ints) -> Floats:
    return position.astype(np.float64) * 1e-7


def _lengths_m(latitude: Ints, longitude: Ints, start: Ints) -> Floats:
    north, east = _degrees(latitude), _degrees(longitude)
    steps = distance_m(north[:-1], east[:-1], north[1:], east[1:])
    along = np.concatenate([[0.0], np.cumsum(steps)])
    lengths: Floats = along[start[1:] - 1] - along[start[:-1]]
    return lengths


def _main_part(nodes: int, start: Ints, end: Ints, forward: Flags, backward: Flags) -> Flags:
    tails = np.concatenate([start[forward], end[backward]])
    heads = np.concatenate([end[forward], start[backward]])
    graph = csr_array((np.ones(len(tails)), (tails, heads)), shape=(nodes, nodes))
    _, part = connected_components(graph, directed=True, connection="strong")
    main: Flags = part == np.bincount(part).argmax()
    return main


def save(graph: RoadGraph, path: Path) -> None:
    """Write the graph; a reader never sees half a file."""
    told = {"sha256": graph.sha256, "date": graph.date, "version": graph.version}
    text = json.dumps({**told, "places": [asdict(place) for place in graph.places]}, sort_keys=True)
    arrays = {name: getattr(graph, name) for name in _ARRAYS}
    path.parent.mkdir(parents=True, exist_ok=True)
    with NamedTemporaryFile(dir=path.parent, suffix=".part", delete=False) as half:
        np.savez_compressed(half, told=np.frombuffer(text.encode(), dtype=np.uint8), **arrays)
    Path(half.name).replace(path)


def read(path: Path) -> RoadGraph:
    """The graph of a file written by ``save``. Raises RoadsError when it is not one."""
    try:
        with path.open("rb") as opened, np.load(opened, allow_pickle=False) as file:
            told = json.loads(file["told"].tobytes())
            places = tuple(Place(**place) for place in told.pop("places"))
            graph = RoadGraph(**{name: file[name] for name in _ARRAYS}, **told, places=places)
    except (OSError, ValueError, KeyError, TypeError, BadZipFile) as error:
        raise RoadsError(f"{path.name} is not a road graph of this program. Build it again.") from error
    if graph.version != version_of(graph.sha256):
        raise RoadsError(f"{path.name} was built by another version of this program. Build it again.")
    return graph
