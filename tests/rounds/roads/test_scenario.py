"""The demonstration's sites lie on the roads that come with it."""

import json
from pathlib import Path

import pytest
from django.conf import settings

from service.rounds.roads.extract import Extract
from service.rounds.roads.pins import QUIET_M
from service.rounds.roads.times import Point
from service.rounds.travel import roads_of_this_machine

FIRMS = json.loads((Path(settings.BASE_DIR) / "fixtures" / "scenario.json").read_text())["firms"]


@pytest.fixture(scope="module")
def roads() -> Extract:
    return roads_of_this_machine()


def point(entry: dict[str, str]) -> Point:
    return Point(float(entry["latitude"]), float(entry["longitude"]))


@pytest.mark.parametrize("firm", FIRMS, ids=lambda firm: firm["name"])
def test_every_site_and_base_can_be_driven_to(firm: dict, roads: Extract) -> None:
    sites = [site for client in firm["clients"] for site in client["sites"]]
    travel = roads.matrix([point(firm["base"]), *(point(site) for site in sites)])

    assert travel.unreachable == {}
    assert max(travel.snap_m) <= QUIET_M
    assert max(max(row) for row in travel.seconds) < 40 * 60
