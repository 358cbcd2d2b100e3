"""Our road graph: figures worked out by hand, and an independent algorithm over all pairs."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from django.conf import settings
from scipy.sparse.csgraph import floyd_warshall

from service.rounds.roads import extract
from service.rounds.roads.extract import Calibration, Extract
from service.rounds.roads.graph import read
from service.rounds.roads.pins import pin_notes
from service.rounds.roads.times import NO_ROAD, Point, RoadsError
from tests.rounds.roads.tiny_town import (
    ARCS_S,
    EAST_WEST_M,
    EAST_WEST_S,
    MIDDLE_S,
    NORTH_SOUTH_M,
    NORTH_SOUTH_S,
    PLACES,
    SOUTH_S,
    WAYS,
    at,
    between,
    osm_text,
    town,
)

FIXTURE = Path(settings.BASE_DIR) / "fixtures" / "roads" / "liechtenstein-2013-08-03.osm.pbf"
NORTH_METRE = 1 / 110_574
"""A metre to the north on the equator, in degrees."""


@pytest.fixture
def roads(tmp_path: Path) -> Extract:
    return town(tmp_path)


@pytest.fixture(scope="module")
def country(tmp_path_factory: pytest.TempPathFactory) -> Extract:
    return Extract(read(extract.build(FIXTURE, tmp_path_factory.mktemp("roads"))))


def some_places(roads: Extract, count: int, seed: int) -> list[Point]:
    latitude, longitude = roads.graph.shape_degrees
    chosen = np.random.default_rng(seed).choice(len(latitude), count, replace=False)
    return [Point(float(latitude[i]), float(longitude[i])) for i in chosen]


def seconds(roads: Extract, start: Point, end: Point) -> int:
    return roads.matrix([start, end]).seconds[0][1]


def test_all_pairs_of_the_town_agree_with_another_algorithm_over_hand_worked_steps(roads: Extract) -> None:
    # The oracle: Floyd and Warshall's algorithm (scipy) over the steps of ``ARCS_S``.
    steps = np.full((7, 7), np.inf)
    for (tail, head), step_s in ARCS_S.items():
        steps[tail - 1, head - 1] = step_s
    expected = floyd_warshall(steps)

    travel = roads.matrix([at(number) for number in range(1, 8)])

    assert np.abs(np.array(travel.seconds) - expected).max() <= 1


def test_a_one_way_road_makes_there_and_back_differ(roads: Extract) -> None:
    travel = roads.matrix([at(1), at(2)])

    back_s = MIDDLE_S + EAST_WEST_S + NORTH_SOUTH_S
    assert travel.seconds == [[0, round(EAST_WEST_S)], [round(back_s), 0]]
    assert travel.metres == [[0, round(EAST_WEST_M)], [round(2 * NORTH_SOUTH_M + EAST_WEST_M), 0]]


def test_a_drive_may_begin_and_end_within_a_stretch(roads: Extract) -> None:
    assert seconds(roads, between(5, 7), at(7)) == round(SOUTH_S / 2)
    assert seconds(roads, between(5, 7, 0.75), between(5, 7, 0.25)) == round(SOUTH_S / 2)
    assert seconds(roads, between(1, 2), at(5)) == round(EAST_WEST_S / 2 + MIDDLE_S)


def test_a_house_passed_on_a_one_way_road_is_reached_by_going_round(roads: Extract) -> None:
    round_trip_s = EAST_WEST_S + MIDDLE_S + EAST_WEST_S + NORTH_SOUTH_S

    assert seconds(roads, between(1, 2, 0.25), between(1, 2, 0.75)) == round(EAST_WEST_S / 2)
    assert seconds(roads, between(1, 2, 0.75), between(1, 2, 0.25)) == round(round_trip_s - EAST_WEST_S / 2)


def test_pins_in_one_place_need_no_drive(roads: Extract) -> None:
    travel = roads.matrix([at(1), at(1), at(2)])

    assert travel.seconds[0][1] == travel.metres[0][1] == travel.seconds[1][0] == 0


def test_every_drive_has_its_fixed_part_and_its_factor(tmp_path: Path) -> None:
    roads = town(tmp_path, calibration=Calibration(factor=2, each_drive_s=30))

    assert seconds(roads, at(1), at(2)) == round(2 * EAST_WEST_S + 30)


def test_an_island_and_a_road_of_no_return_are_cut_off(roads: Extract) -> None:
    travel = roads.matrix([at(1), between(8, 9), between(3, 10, 0.9)])

    assert set(travel.unreachable) == {1, 2}
    assert set(travel.unreachable.values()) == {"The road at this pin is cut off from the depot in this map."}
    assert travel.seconds[0] == [0, NO_ROAD, NO_ROAD]
    assert travel.for_planner()["seconds"][1] == [None, 0, None]


def test_a_pin_beside_a_cut_off_road_takes_the_main_road_close_behind_it(tmp_path: Path) -> None:
    # An island of 50 m length beside the main road, 40 m away from it.
    beside = {11: (0.01 + 40 * NORTH_METRE, 0.002), 12: (0.01 + 40 * NORTH_METRE, 0.003)}
    ways = (*WAYS, ((11, 12), {"highway": "service"}))
    roads = town(tmp_path, osm_text(ways, {**PLACES, **beside}))

    travel = roads.matrix([Point(*beside[11]), at(2)])

    assert travel.unreachable == {}
    assert travel.snap_m[0] == pytest.approx(40, abs=1)


def test_a_pin_up_to_60_m_from_the_road_is_on_it(roads: Extract) -> None:
    beside = Point(0.01 + 50 * NORTH_METRE, 0.005)

    travel = roads.matrix([beside, at(2)])

    assert travel.snap_m[0] == pytest.approx(50, abs=1)
    assert travel.seconds[0][1] == round(EAST_WEST_S / 2)


def test_a_pin_further_off_is_walked_to_and_said_by_name(roads: Extract) -> None:
    off = Point(0.01 + 180 * NORTH_METRE, 0.005)

    travel = roads.matrix([off, at(2)])

    # 180 m at 5 km/h are 129.6 s.
    assert travel.seconds[0][1] == pytest.approx(EAST_WEST_S / 2 + 129.6, abs=1)
    assert travel.seconds[1][0] - seconds(roads, at(2), between(1, 2)) == pytest.approx(129.6, abs=1)
    assert pin_notes(["Hill Barn", "Mill"], travel.snap_m, travel.unreachable) == [
        (0, "Hill Barn: last 180 m not on a mapped road.")
    ]


def test_a_pin_far_from_every_road_is_left_out_and_said_by_name(roads: Extract) -> None:
    travel = roads.matrix([at(1), Point(0.005, 0.005), Point(0.12, 0.01)])

    assert [
        text for _, text in pin_notes(["Mill", "Field", "Abroad"], travel.snap_m, travel.unreachable)
    ] == [
        "Field: No road within 300 m of the pin; the nearest is 553 m away. "
        "Move the pin to the gate, or enter the drive by hand.",
        "Abroad: This pin lies outside the map (12 km past its edge).",
    ]
    assert travel.seconds[1] == [NO_ROAD, 0, NO_ROAD]


def test_a_bollard_stops_a_van_and_a_footway_is_no_road(tmp_path: Path) -> None:
    middle = {11: (0.005, 0.01)}
    ways = (*WAYS[:3], ((2, 11, 5), {"highway": "residential"}), *WAYS[4:])
    roads = town(tmp_path, osm_text(ways, {**PLACES, **middle}, barriers={11}))

    # Not through the middle but round by 3 and 4.
    assert seconds(roads, at(2), at(5)) == round(2 * EAST_WEST_S + NORTH_SOUTH_S)


def test_of_two_roads_between_the_same_junctions_the_quicker_is_taken(tmp_path: Path) -> None:
    ways = (*WAYS, ((2, 5), {"highway": "tertiary", "maxspeed": "100"}))
    roads = town(tmp_path, osm_text(ways))

    assert seconds(roads, at(2), at(5)) == round(NORTH_SOUTH_M / 80 * 3.6)


def test_the_line_of_a_drive_follows_the_roads(roads: Extract) -> None:
    line = roads.line(between(1, 2), between(5, 6))

    assert line == [between(1, 2), at(2), at(5), between(5, 6)]
    assert roads.line(at(1), between(8, 9)) is None


def test_a_new_sites_row_and_column_equal_the_full_matrix(country: Extract) -> None:
    points = some_places(country, 80, seed=1)
    whole = country.matrix(points)

    rows = country.rows(points[:3], points)

    assert rows.seconds_out == whole.seconds[:3]
    assert rows.metres_out == whole.metres[:3]
    assert rows.seconds_back == [list(column) for column in zip(*whole.seconds, strict=True)][:3]
    assert rows.metres_back == [list(column) for column in zip(*whole.metres, strict=True)][:3]
    assert rows.snap_m == whole.snap_m[:3]


def test_the_country_is_the_one_its_licence_names(country: Extract) -> None:
    assert country.graph.sha256 in (FIXTURE.parent / "LICENCE.md").read_text()
    assert country.source == "roads 2013-08-03 (edb2b075)"
    assert country.honesty.startswith("OpenStreetMap roads, 3 August 2013")
    assert country.attribution == "© OpenStreetMap contributors"


def test_most_of_the_country_hangs_together(country: Extract) -> None:
    graph = country.graph

    assert graph.edge_metres.sum() / 1000 == pytest.approx(385, abs=2)
    assert graph.edge_metres[graph.edge_main].sum() / graph.edge_metres.sum() > 0.97


def test_a_line_is_as_long_as_its_drive(country: Extract) -> None:
    points = [p for p in some_places(country, 12, seed=3) if country.on_road(p)]
    travel = country.matrix(points)

    for place, end in enumerate(points[1:], 1):
        line = country.line(points[0], end)
        steps = [straight_m(a, b) for a, b in pairwise(line)]
        assert sum(steps) == pytest.approx(travel.metres[0][place], rel=0.005, abs=5)


def straight_m(a: Point, b: Point) -> float:
    """Haversine on a sphere: another formula than the code's, within 0.5 % of it."""
    first, second = np.radians([a.latitude, b.latitude])
    turn = np.radians(b.longitude - a.longitude)
    half = np.sin((second - first) / 2) ** 2 + np.cos(first) * np.cos(second) * np.sin(turn / 2) ** 2
    return float(2 * 6_371_008.8 * np.arcsin(np.sqrt(half)))


def test_the_same_extract_gives_the_same_bytes(tmp_path: Path) -> None:
    first, second = (extract.build(FIXTURE, tmp_path / name) for name in ("a", "b"))

    assert first.name == second.name
    assert first.read_bytes() == second.read_bytes()


def test_a_changed_extract_has_another_version(tmp_path: Path) -> None:
    before = town(tmp_path)
    after = town(tmp_path, osm_text(WAYS[:-1]))

    assert before.version != after.version
    assert before.version != Extract(before.graph, Calibration(1.1, 8)).version


@pytest.mark.parametrize("text", ["not a map", "<osm version='0.6'></osm>"])
def test_a_file_without_roads_is_refused_in_words(tmp_path: Path, text: str) -> None:
    file = tmp_path / "bad.osm"
    file.write_text(text)

    with pytest.raises(RoadsError, match=r"bad\.osm (cannot be read|holds no road)"):
        extract.build(file, tmp_path)


def test_a_compiled_file_of_another_kind_is_refused_in_words(tmp_path: Path) -> None:
    file = tmp_path / "old.npz"
    file.write_bytes(b"PK\x03\x04 nothing")

    with pytest.raises(RoadsError, match="Build it again"):
        read(file)


def test_a_point_outside_the_earth_is_refused() -> None:
    with pytest.raises(ValueError, match="latitude must be between -90 and 90"):
        Point(91, 0)
