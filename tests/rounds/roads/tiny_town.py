"""A town of ten junctions on the equator, small enough to work out on paper.

       1 ──────► 2 ──────► 3 ──────► 10     one way to 10: whoever arrives there is stuck
       ▲         │         │
       │         │ 2─5     ▼                8 ─── 9   an island
       6 ◄────── 5 ◄────── 4
                 │
                 7

The ring 1-2-3-4-5-6-1 is one way at 65 km/h (primary), 2-5 is driven both ways at 25 km/h
(residential), 5-7 both ways at 15 km/h (service).

On the equator 0.01° of longitude is a/100 × π/180 = 1113.195 m of the WGS 84 ellipsoid by definition,
and 0.01° of latitude is 1105.74 m (110.574 km a degree: the table "Lengths of a degree" of any
handbook of geodesy). Hence, by hand: ring east-west 61.65 s, ring north-south 61.24 s, 2-5 159.23 s,
5-7 265.38 s.
"""

from pathlib import Path

from service.rounds.roads import extract, graph
from service.rounds.roads.extract import Calibration, Extract
from service.rounds.roads.times import Point

EAST_WEST_S, NORTH_SOUTH_S, MIDDLE_S, SOUTH_S = 61.65, 61.24, 159.23, 265.38
EAST_WEST_M, NORTH_SOUTH_M = 1113.2, 1105.74

ARCS_S = {
    (1, 2): EAST_WEST_S,
    (2, 3): EAST_WEST_S,
    (3, 4): NORTH_SOUTH_S,
    (4, 5): EAST_WEST_S,
    (5, 6): EAST_WEST_S,
    (6, 1): NORTH_SOUTH_S,
    (2, 5): MIDDLE_S,
    (5, 2): MIDDLE_S,
    (5, 7): SOUTH_S,
    (7, 5): SOUTH_S,
}
"""Every drivable step between neighbours of the main part, in seconds worked out by hand."""

PLAIN = Calibration(factor=1, each_drive_s=0)

PLACES = {
    1: (0.01, 0.00),
    2: (0.01, 0.01),
    3: (0.01, 0.02),
    4: (0.00, 0.02),
    5: (0.00, 0.01),
    6: (0.00, 0.00),
    7: (-0.01, 0.01),
    8: (0.00, 0.05),
    9: (0.00, 0.06),
    10: (0.01, 0.03),
}
WAYS = (
    ((1, 2, 3), {"highway": "primary", "oneway": "yes"}),
    ((5, 4, 3), {"highway": "primary", "oneway": "-1"}),
    ((5, 6, 1), {"highway": "primary", "oneway": "yes"}),
    ((2, 5), {"highway": "residential"}),
    ((5, 7), {"highway": "service"}),
    ((3, 10), {"highway": "residential", "oneway": "yes"}),
    ((8, 9), {"highway": "residential"}),
    ((1, 7), {"highway": "footway"}),
    ((6, 4), {"highway": "residential", "access": "no"}),
)


def osm_text(ways=WAYS, nodes=PLACES, barriers=()) -> str:
    """The town in OpenStreetMap's XML."""
    lines = ['<osm version="0.6" generator="test">']
    for number, (latitude, longitude) in nodes.items():
        tag = '<tag k="barrier" v="bollard"/>' if number in barriers else ""
        lines.append(f'<node id="{number}" version="1" lat="{latitude}" lon="{longitude}">{tag}</node>')
    for number, (path, tags) in enumerate(ways, 1):
        inside = "".join(f'<nd ref="{node}"/>' for node in path)
        inside += "".join(f'<tag k="{key}" v="{value}"/>' for key, value in tags.items())
        lines.append(f'<way id="{number}" version="1">{inside}</way>')
    return "\n".join([*lines, "</osm>"])


def town(folder: Path, text: str = "", calibration: Calibration = PLAIN) -> Extract:
    """The town's roads, compiled; plain road times unless ``calibration`` says otherwise."""
    file = folder / "town.osm"
    file.write_text(text or osm_text())
    return Extract(graph.read(extract.build(file, folder)), calibration)


def at(number: int) -> Point:
    return Point(*PLACES[number])


def between(first: int, second: int, share: float = 0.5) -> Point:
    """A place on the straight between two junctions."""
    (latitude, longitude), (other_latitude, other_longitude) = PLACES[first], PLACES[second]
    return Point(
        latitude + share * (other_latitude - latitude), longitude + share * (other_longitude - longitude)
    )
