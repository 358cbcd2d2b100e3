"""How far a pin may lie from a road, and what the office is told when it lies too far."""

from collections.abc import Mapping, Sequence

QUIET_M = 60
"""Up to here a pin counts as on the road: a house in its garden."""
MOST_M = 300
"""Beyond it the drive would be a guess: the pin is not planned."""
WALK_M_S = 5 / 3.6
"""Walking pace, 5 km/h: our assumption for the stretch between road and pin."""

CUT_OFF = "The road at this pin is cut off from the depot in this map."


def walk_s(snap_m: float) -> float:
    """Seconds added to a drive for the stretch between the road and a pin.

    >>> walk_s(59), walk_s(180)
    (0.0, 129.6)
    """
    return snap_m / WALK_M_S if snap_m > QUIET_M else 0.0


def no_road_within(nearest_m: float) -> str:
    """Why a pin far from every road is not planned.

    >>> no_road_within(1053.4)
    'No road within 300 m of the pin; the nearest is 1,053 m away.
     Move the pin to the gate, or enter the drive by hand.'
    """
    return (
        f"No road within {MOST_M} m of the pin; the nearest is {nearest_m:,.0f} m away. "
        "Move the pin to the gate, or enter the drive by hand."
    )


def outside_map(past_edge_m: float) -> str:
    """Why a pin beyond the map's edge is not planned.

    >>> outside_map(12_300)
    'This pin lies outside the map (12 km past its edge).'
    """
    far = f"{past_edge_m / 1000:,.0f} km" if past_edge_m >= 1000 else f"{past_edge_m:.0f} m"
    return f"This pin lies outside the map ({far} past its edge)."


def pin_notes(
    names: Sequence[str], snap_m: Sequence[float], unreachable: Mapping[int, str]
) -> list[tuple[int, str]]:
    """What to say about pins, by index and by name: those off the road, and those not planned.

    >>> pin_notes(["Mill", "Barn", "Hut"], [4, 180, 2000], {2: outside_map(2000)})
    [(1, 'Barn: last 180 m not on a mapped road.'),
     (2, 'Hut: This pin lies outside the map (2 km past its edge).')]
    """
    notes = []
    for place, (name, snap) in enumerate(zip(names, snap_m, strict=True)):
        if place in unreachable:
            notes.append((place, f"{name}: {unreachable[place]}"))
        elif snap > QUIET_M:
            notes.append((place, f"{name}: last {snap:.0f} m not on a mapped road."))
    return notes
