"""A round on the map, and the roads below it."""

import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from django.urls import reverse

from service.rounds.road_map import Stop, map_of_round, roads_name
from service.rounds.roads.straight_line import StraightLine
from service.rounds.roads.times import Point
from service.rounds.travel import roads_of_this_machine
from tests.personas import Firm
from tests.rounds.roads.test_drawing import lines_of
from tests.rounds.roads.tiny_town import between, town

YARD = Stop("Yard", Point(47.1388, 9.52164))
STOPS = [
    Stop("Weir House", Point(47.14009, 9.52203)),
    Stop("Mill & <Barn>", Point(47.16621, 9.51016)),
    Stop("Hall", Point(47.18655, 9.50539)),
]


def figure(markup: str) -> ElementTree.Element:
    return ElementTree.fromstring(markup)


def drawn(**changes: Any) -> ElementTree.Element:
    roads = roads_of_this_machine()
    asked = {"title": "Tuesday, Rosa Timms", "stops": STOPS, "start": YARD, "end": YARD, **changes}
    return figure(map_of_round(roads, asked.pop("travel", roads), **asked))


def numbers(map_: ElementTree.Element) -> list[str | None]:
    return [text.text for text in map_.iter("text") if text.get("font-weight") == "600"]


def test_the_map_is_a_picture_with_a_name_and_its_stops_in_words() -> None:
    svg = drawn().find("svg")

    assert svg is not None
    assert svg.get("role") == "img"
    assert [svg.find(tag).text for tag in ("title", "desc")] == [
        "Tuesday, Rosa Timms",
        "From Yard; 1 Weir House; 2 Mill & <Barn>; 3 Hall; to Yard.",
    ]
    ids = {element.get("id") for element in svg if element.get("id")}
    assert set(svg.get("aria-labelledby", "").split()) == ids


def test_every_map_names_whose_data_it_is_and_how_old() -> None:
    caption = drawn().find("figcaption")

    assert caption is not None
    link = caption.find("a")
    assert (link.text, link.get("href")) == (
        "© OpenStreetMap contributors",
        "https://www.openstreetmap.org/copyright",
    )
    assert "Roads of 2013, for demonstration" in "".join(caption.itertext())


def test_the_round_follows_the_roads(tmp_path: Path) -> None:
    roads = town(tmp_path)
    map_ = figure(
        map_of_round(
            roads, roads, title="Town", stops=[Stop("Mid", between(5, 6))], start=Stop("Yard", between(1, 2))
        )
    )

    # 1½-2-5-5½: three corners on sheet units of 4 m; from the equator's lengths in ``tiny_town``.
    path = next(path for path in map_.iter("path"))
    assert path.get("stroke-dasharray") is None
    (line,) = lines_of(path.get("d", ""))
    steps = (line[1:] - line[:-1]) * 4
    assert abs(steps - [[556.6, 0], [0, 1105.7], [-556.6, 0]]).max() <= 4


def test_a_drive_of_unknown_course_is_dashed_and_said() -> None:
    map_ = drawn(travel=StraightLine())

    assert [path.get("stroke-dasharray") is not None for path in map_.iter("path")] == [True]
    assert "Dashed: the course of the drive is not known" in "".join(map_.itertext())


def test_every_stop_stands_inside_the_map_under_its_number() -> None:
    map_ = drawn()
    left, top, width, height = (float(part) for part in map_.find("svg").get("viewBox").split())

    places = [
        tuple(float(part) for part in re.findall(r"[\d.]+", group.get("transform")))
        for group in map_.iter("g")
    ]
    assert numbers(map_) == ["1", "2", "3"]
    assert all(left < x < left + width and top < y < top + height for x, y in places)


def test_stops_too_close_to_tell_apart_share_a_mark() -> None:
    close = [Stop(f"Cabin {i}", Point(47.1662 + i / 100_000, 9.51016)) for i in range(3)]

    assert numbers(drawn(stops=[*STOPS, *close])) == ["1", "2, 4–6", "3"]


def test_a_map_holds_nothing_the_security_policy_refuses() -> None:
    map_ = drawn()

    assert not [
        element for element in map_.iter() if "style" in element.attrib or element.tag in {"style", "script"}
    ]
    assert [use.get("href").startswith("/rounds/roads/") for use in map_.iter("use")] == [True]


def test_a_day_without_stops_has_no_map() -> None:
    assert map_of_round(roads_of_this_machine(), StraightLine(), title="Empty", stops=[]) == ""


@pytest.mark.django_db
def test_the_roads_are_fetched_once_by_their_name(firm: Firm, sign_in: Any) -> None:
    browser = sign_in(firm.technician)

    answer = browser.get(reverse("rounds:roads_drawing", args=[roads_name(roads_of_this_machine())]))

    assert answer.headers["Content-Type"] == "image/svg+xml"
    assert "immutable" in answer.headers["Cache-Control"]
    assert b'id="roads"' in answer.content
    assert browser.get(reverse("rounds:roads_drawing", args=["other-roads"])).status_code == 404
