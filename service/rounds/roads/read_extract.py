"""From an OpenStreetMap extract (``.osm.pbf``, ``.osm``) to the ways a van may drive."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import osmium
from osmium.filter import KeyFilter

from .driving import RoadClass, blocks, directions, road_class, speed_km_h
from .times import RoadsError

PLACES = ("city", "town", "village")


@dataclass(frozen=True)
class Way:
    """A drivable way: ids of its nodes in order, and how it is driven."""

    nodes: tuple[int, ...]
    speed_km_h: float
    forward: bool
    backward: bool
    road_class: RoadClass


@dataclass(frozen=True)
class Place:
    """A named town or village, for the map."""

    name: str
    kind: str
    latitude: float
    longitude: float


@dataclass
class Extract:
    """What the file holds of roads.

    positions  Of every node of a drivable way: (latitude, longitude) in 1e-7 degrees, as the file has them.
    blocked    Nodes that no van passes.
    date       The day the data stood as it is, ISO; "" when the file does not say.
    """

    sha256: str
    date: str = ""
    ways: list[Way] = field(default_factory=list)
    positions: dict[int, tuple[int, int]] = field(default_factory=dict)
    blocked: set[int] = field(default_factory=set)
    places: list[Place] = field(default_factory=list)


def file_sha256(path: Path) -> str:
    """SHA-256 of a file, hexadecimal. Raises RoadsError when it cannot be opened."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise RoadsError(f"{path} cannot be read: {error.strerror}.") from error


def read_extract(path: Path) -> Extract:
    """The roads and the place names of an extract.

    Raises RoadsError when the file cannot be read or holds no road.
    """
    extract = Extract(sha256=file_sha256(path))
    try:
        latest = _read(path, extract)
        extract.date = _file_date(path) or latest
    except (RuntimeError, ValueError) as error:
        raise RoadsError(f"{path.name} cannot be read as an OpenStreetMap extract: {error}") from error
    if not extract.ways:
        raise RoadsError(f"{path.name} holds no road that a van may drive.")
    return extract


def _read(path: Path, extract: Extract) -> str:
    """Fill ``extract``; return the day of the latest change to anything read."""
    latest = ""
    told = KeyFilter("highway", "barrier", "place")
    for item in osmium.FileProcessor(path).with_locations().with_filter(told):
        if isinstance(item, osmium.osm.Node):
            _read_node(item, extract)
        elif isinstance(item, osmium.osm.Way):
            _read_way(item, extract)
        else:
            continue
        if item.timestamp.year > 1970:
            latest = max(latest, item.timestamp.date().isoformat())
    return latest


def _file_date(path: Path) -> str:
    reader = osmium.io.Reader(str(path))
    try:
        header = reader.header()
        return str(header.get("osmosis_replication_timestamp") or header.get("timestamp") or "")[:10]
    finally:
        reader.close()


def _read_node(node: osmium.osm.Node, extract: Extract) -> None:
    tags = dict(node.tags)
    if blocks(tags):
        extract.blocked.add(node.id)
    if tags.get("place") in PLACES and tags.get("name"):
        extract.places.append(Place(tags["name"], tags["place"], node.location.lat, node.location.lon))


def _read_way(way: osmium.osm.Way, extract: Extract) -> None:
    tags = dict(way.tags)
    speed = speed_km_h(tags)
    if speed is None:
        return
    forward, backward = directions(tags)
    for nodes in _stretches(way, extract):
        extract.ways.append(Way(nodes, speed, forward, backward, road_class(tags)))


def _stretches(way: osmium.osm.Way, extract: Extract) -> Iterator[tuple[int, ...]]:
    """Runs of nodes with a position; a way that leaves the extract comes in pieces."""
    run: list[int] = []
    for node in way.nodes:
        if not node.location.valid():
            yield from [tuple(run)] if len(run) > 1 else []
            run = []
            continue
        extract.positions[node.ref] = (round(node.location.lat * 1e7), round(node.location.lon * 1e7))
        if not run or run[-1] != node.ref:
            run.append(node.ref)
    if len(run) > 1:
        yield tuple(run)
