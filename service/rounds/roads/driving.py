"""Which ways of OpenStreetMap a van may drive, how fast, and in which direction.

Tags: OpenStreetMap wiki, "Key:highway", "Key:access", "Key:oneway", "Key:barrier", "Key:maxspeed".
Speeds are what is driven on average, stops and bends included, not what is allowed. They are our
own; they stand close to an open routing engine's car profile so that the two can be compared.
"""

import re
from collections.abc import Mapping
from enum import IntEnum

Tags = Mapping[str, str]

SPEED_KM_H: dict[str, float] = {
    "motorway": 100,
    "trunk": 85,
    "primary": 65,
    "secondary": 55,
    "tertiary": 40,
    "unclassified": 28,
    "residential": 25,
    "service": 15,
    "living_street": 10,
}
LINK_SHARE = 0.6
"""A slip road is driven at this share of its road's speed."""
MAXSPEED_SHARE = 0.8
"""Where a limit is signed, this share of it is driven."""
KILOMETRES_PER_MILE = 1.609344

NO_ENTRY = frozenset({"no", "agricultural", "forestry", "emergency", "psv", "bus", "foot", "military"})
PASSABLE_BARRIERS = frozenset(
    {
        "gate",
        "lift_gate",
        "swing_gate",
        "cattle_grid",
        "border_control",
        "toll_booth",
        "sally_port",
        "entrance",
        "height_restrictor",
        "arch",
        "kerb",
        "no",
    }
)
"""A gate opens for whoever has business behind it; a bollard does not."""
_ACCESS_KEYS = ("motorcar", "motor_vehicle", "vehicle", "access")
_LIMIT = re.compile(r"^(\d+(?:\.\d+)?)\s*(km/h|kmh|kph|mph)?$")


class RoadClass(IntEnum):
    """How a road is drawn."""

    MAIN = 0
    MIDDLE = 1
    MINOR = 2


_CLASSES = {
    "motorway": RoadClass.MAIN,
    "trunk": RoadClass.MAIN,
    "primary": RoadClass.MAIN,
    "secondary": RoadClass.MIDDLE,
    "tertiary": RoadClass.MIDDLE,
}


def speed_km_h(tags: Tags) -> float | None:
    """Speed on a way, or None when a van may not drive it.

    >>> speed_km_h({"highway": "residential", "maxspeed": "30"})
    24.0
    >>> speed_km_h({"highway": "footway"}) is None
    True
    """
    kind = tags.get("highway", "")
    road = kind.removesuffix("_link")
    if road not in SPEED_KM_H or not _may_enter(tags) or tags.get("area") == "yes":
        return None
    if (limit := _limit_km_h(tags.get("maxspeed", ""))) is not None:
        return limit * MAXSPEED_SHARE
    return SPEED_KM_H[road] * (LINK_SHARE if kind != road else 1)


def directions(tags: Tags) -> tuple[bool, bool]:
    """Whether a way may be driven as it is drawn, and against it.

    >>> directions({"highway": "primary", "oneway": "-1"}), directions({"junction": "roundabout"})
    ((False, True), (True, False))
    """
    oneway = tags.get("oneway", "")
    if oneway in {"-1", "reverse"}:
        return False, True
    implied = tags.get("junction") in {"roundabout", "circular"} or tags.get("highway") == "motorway"
    only_forward = oneway in {"yes", "true", "1"} or (implied and oneway != "no")
    return True, not only_forward


def blocks(tags: Tags) -> bool:
    """Whether a node stops a van.

    >>> blocks({"barrier": "bollard"}), blocks({"barrier": "gate"}), blocks({})
    (True, False, False)
    """
    barrier = tags.get("barrier")
    if barrier is None:
        return False
    word = _access(tags)
    return word in NO_ENTRY if word else barrier not in PASSABLE_BARRIERS


def road_class(tags: Tags) -> RoadClass:
    """How the way is drawn on the map."""
    return _CLASSES.get(tags.get("highway", "").removesuffix("_link"), RoadClass.MINOR)


def _may_enter(tags: Tags) -> bool:
    return _access(tags) not in NO_ENTRY


def _access(tags: Tags) -> str:
    """What the most particular access tag says; "" when none is there."""
    return next((tags[key] for key in _ACCESS_KEYS if key in tags), "")


def _limit_km_h(text: str) -> float | None:
    found = _LIMIT.match(text.strip())
    if not found or not float(found[1]):
        return None
    return float(found[1]) * (KILOMETRES_PER_MILE if found[2] == "mph" else 1)
