"""A round on the map: the extract's roads, the drives along them, numbered stops.

The roads are one file for all pages (``roads_drawing``); a page holds only its round and crops the
roads by its view box. The list of stops beside the map says the same in words; the map is the extra.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from service.rounds.roads.drawing import DRAWING_VERSION, Sheet, drawing, path_data, simplified
from service.rounds.roads.extract import Extract
from service.rounds.roads.times import OPENSTREETMAP, OPENSTREETMAP_URL, Point, TravelTimes
from service.rounds.travel import FOLDER, FOR_DEMONSTRATION, for_demonstration

Spot = tuple[float, float]

LEAST_WIDTH = 400.0
"""Units of the drawing (4 m) across, so that two neighbours are not shown on a blank sheet."""
MARGIN = 0.1
TALLEST = 1.25
"""Height over width at most; at least its reciprocal."""
# In hundredths of the map's width: readable on a phone, not shouting on a desk.
MARK, SQUARE, LETTER, NAME = 2.6, 1.7, 3.2, 2.9


@dataclass(frozen=True)
class Stop:
    """One stop of a round, in order: what it is called and where it lies."""

    name: str
    point: Point


@dataclass(frozen=True)
class Mark:
    """A mark on the map: the numbers of the stops there ("3", "4–6"); "" for where the day begins."""

    x: float
    y: float
    numbers: str
    half_width: float

    @property
    def width(self) -> float:
        return _short(2 * self.half_width)


@dataclass(frozen=True)
class Name:
    """A town or village."""

    x: float
    y: float
    text: str


def roads_name(roads: Extract) -> str:
    """What the drawing of these roads is called in its address."""
    return f"{roads.graph.version}-{DRAWING_VERSION}"


def roads_drawing(roads: Extract) -> Path:
    """The file with the drawing of these roads, made on first use."""
    file = FOLDER / f"{roads_name(roads)}.svg"
    if not file.exists():
        file.parent.mkdir(parents=True, exist_ok=True)
        half = file.with_suffix(".part")
        half.write_text(drawing(roads.graph), encoding="utf-8")
        half.replace(file)
    return file


def map_of_round(
    roads: Extract,
    travel: TravelTimes,
    *,
    title: str,
    stops: Sequence[Stop],
    start: Stop | None = None,
    end: Stop | None = None,
    key: str = "round",
) -> SafeString:
    """The map of one round as a ``<figure>``; "" without stops.

    travel  Draws the drives; where it knows no course the leg is a dashed straight line.
    title   "Tuesday 9 June, Rosa Timms": its accessible name.
    key     Unique on the page.
    """
    if not stops:
        return SafeString()
    sheet = Sheet.of(roads.graph)
    legs = [_leg(travel, first, last) for first, last in pairwise(_places(start, stops, end))]
    known = [[sheet.at(point) for point in leg] for leg in legs if leg and len(leg) > 2]
    guessed = [[sheet.at(point) for point in leg] for leg in legs if leg and len(leg) == 2]
    ends = [sheet.at(place.point) for place in (start, end) if place]
    spots = [sheet.at(stop.point) for stop in stops]
    box = _box([*ends, *spots, *(spot for leg in known for spot in leg)])
    unit = box[2] / 100
    marks = _marks(spots, unit)
    ends_marked = [Mark(x, y, "", _short(SQUARE * unit)) for x, y in dict.fromkeys(ends)]
    drawn = {
        "key": key,
        "title": title,
        "description": _description(start, stops, end),
        "view_box": " ".join(f"{value:.0f}" for value in box),
        "roads": roads_name(roads),
        "known": _path(known),
        "guessed": _path(guessed),
        "ends": ends_marked,
        "marks": marks,
        "names": _names(roads, sheet, box, [*ends_marked, *marks]),
        "radius": _short(MARK * unit),
        "twice": _short(2 * MARK * unit),
        "letter": _short(LETTER * unit),
        "name": _short(NAME * unit),
        "halo": _short(unit),
        "attribution": OPENSTREETMAP,
        "attribution_url": OPENSTREETMAP_URL,
        "caution": FOR_DEMONSTRATION if for_demonstration(roads) else "",
    }
    return render_to_string("rounds/road_map.html", drawn)


def _places(start: Stop | None, stops: Sequence[Stop], end: Stop | None) -> list[Point]:
    return [place.point for place in (start, *stops, end) if place]


def _leg(travel: TravelTimes, first: Point, last: Point) -> list[Point] | None:
    """Course of a drive; two points where it is not known, None where there is nothing to drive."""
    if first == last:
        return None
    course = travel.line(first, last)
    if not course:
        return [first, last]
    return course if len(course) > 2 else [course[0], *course]


def _box(spots: Sequence[Spot]) -> tuple[float, float, float, float]:
    """Left, top, width and height that hold all spots, neither very tall nor very wide."""
    across, down = zip(*spots, strict=True)
    width = max((max(across) - min(across)) * (1 + 2 * MARGIN), LEAST_WIDTH)
    height = max((max(down) - min(down)) * (1 + 2 * MARGIN), width / TALLEST)
    width = max(width, height / TALLEST)
    middle = (max(across) + min(across)) / 2, (max(down) + min(down)) / 2
    return middle[0] - width / 2, middle[1] - height / 2, width, height


def _path(legs: Sequence[Sequence[Spot]]) -> str:
    lines = (np.rint(simplified(np.array(leg), 1.0)).astype(np.int64) for leg in legs)
    return path_data(lines)


def _marks(spots: Sequence[Spot], unit: float) -> list[Mark]:
    """One mark for all stops that would cover each other."""
    groups: list[tuple[Spot, list[int]]] = []
    for number, (x, y) in enumerate(spots, 1):
        for (other_x, other_y), numbers in groups:
            if np.hypot(x - other_x, y - other_y) < 2 * MARK * unit:
                numbers.append(number)
                break
        else:
            groups.append(((x, y), [number]))
    return [_mark(spot, _as_ranges(numbers), unit) for spot, numbers in groups]


def _mark(spot: Spot, numbers: str, unit: float) -> Mark:
    half_width = max(MARK, 0.32 * LETTER * len(numbers) + 0.8) * unit
    return Mark(spot[0], spot[1], numbers, _short(half_width))


def _as_ranges(numbers: Sequence[int]) -> str:
    """Numbers as they are read.

    >>> _as_ranges([1, 2, 3, 7, 9, 10])
    '1–3, 7, 9–10'
    """
    told: list[list[int]] = []
    for number in numbers:
        if told and told[-1][-1] == number - 1:
            told[-1].append(number)
        else:
            told.append([number])
    return ", ".join(f"{run[0]}–{run[-1]}" if len(run) > 1 else f"{run[0]}" for run in told)


def _names(
    roads: Extract, sheet: Sheet, box: tuple[float, float, float, float], marks: Sequence[Mark]
) -> list[Name]:
    """Names of places inside the box that neither a mark nor another name is in the way of."""
    unit = box[2] / 100
    taken = [(mark.x, mark.y, mark.half_width, MARK * unit) for mark in marks]
    names = []
    for place in sorted(roads.places, key=lambda place: (place.kind != "town", place.name)):
        x, y = sheet.at(Point(place.latitude, place.longitude))
        half = len(place.name) * 0.27 * NAME * unit, 0.5 * NAME * unit
        inside = _within(x, half[0], box[0], box[2]) and _within(y, half[1], box[1], box[3])
        if inside and not any(_touch((x, y, *half), other) for other in taken):
            names.append(Name(x, y, place.name))
            taken.append((x, y, *half))
    return names


def _within(middle: float, half: float, low: float, size: float) -> bool:
    return low + half < middle < low + size - half


def _touch(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> bool:
    """Whether two boxes, each a middle and half sizes, overlap."""
    return abs(one[0] - other[0]) < one[2] + other[2] and abs(one[1] - other[1]) < one[3] + other[3]


def _description(start: Stop | None, stops: Sequence[Stop], end: Stop | None) -> str:
    return "; ".join(_said(start, stops, end)) + "."


def _said(start: Stop | None, stops: Sequence[Stop], end: Stop | None) -> Iterator[str]:
    if start:
        yield f"From {start.name}"
    for number, stop in enumerate(stops, 1):
        yield f"{number} {stop.name}"
    if end:
        yield f"to {end.name}"


def _short(value: float) -> float:
    return round(value, 1)
