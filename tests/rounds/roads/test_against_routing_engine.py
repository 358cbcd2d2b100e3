"""Our road graph beside an open routing engine on the same extract (see ``routing_engine``)."""

from pathlib import Path

import numpy as np
import pytest

from service.rounds.roads.driving import RoadClass
from service.rounds.roads.extract import Calibration, Extract
from service.rounds.roads.server import TableServer
from service.rounds.roads.times import Point
from service.rounds.travel import SHIPPED, roads_of_this_machine
from tests.rounds.roads.routing_engine import running

pytestmark = pytest.mark.long
PLACES = 150
SHORTEST_M = 300
"""Shorter drives compare where a pin was snapped, not the roads."""


def on_minor_roads(roads: Extract, count: int) -> list[Point]:
    graph = roads.graph
    latitude, longitude = graph.shape_degrees
    dice = np.random.default_rng(20130803)
    edges = dice.choice(np.flatnonzero(graph.edge_main & (graph.edge_class == RoadClass.MINOR)), count, False)
    places = [int(dice.integers(graph.shape_start[edge], graph.shape_start[edge + 1])) for edge in edges]
    return [Point(float(latitude[place]), float(longitude[place])) for place in places]


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> dict[str, np.ndarray]:
    """Ratios ours : the engine's over all pairs, of raw seconds, calibrated seconds and metres."""
    roads = roads_of_this_machine()
    points = on_minor_roads(roads, PLACES)
    folder: Path = tmp_path_factory.mktemp("engine")
    with running(SHIPPED, folder) as url:
        theirs = TableServer(url).matrix(points)
    raw, ours = Extract(roads.graph, Calibration(1, 0)).matrix(points), roads.matrix(points)
    assert theirs.unreachable == ours.unreachable == {}
    compared = np.array(theirs.metres) > SHORTEST_M
    assert compared.sum() > 20_000
    return {
        "raw seconds": (np.array(raw.seconds) / np.maximum(theirs.seconds, 1))[compared],
        "seconds": (np.array(ours.seconds) / np.maximum(theirs.seconds, 1))[compared],
        "metres": (np.array(ours.metres) / np.maximum(theirs.metres, 1))[compared],
    }


@pytest.mark.parametrize(
    ("what", "median", "within"), [("raw seconds", 0.96, 0.02), ("seconds", 1.0, 0.02), ("metres", 1.0, 0.01)]
)
def test_the_middle_drive_is_the_engines(
    both: dict[str, np.ndarray], what: str, median: float, within: float
) -> None:
    assert np.median(both[what]) == pytest.approx(median, abs=within)


def test_nine_drives_of_ten_are_within_a_few_per_cent(both: dict[str, np.ndarray]) -> None:
    strayed = {what: float(np.quantile(abs(both[what] - 1), 0.9)) for what in ("seconds", "metres")}

    assert strayed["seconds"] < 0.05
    assert strayed["metres"] < 0.03
