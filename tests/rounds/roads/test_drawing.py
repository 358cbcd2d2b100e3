"""The roads as one small file."""

import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from service.rounds.roads.drawing import GRID_M, TOLERANCE_M, Sheet, drawing, simplified
from service.rounds.travel import roads_of_this_machine
from tests.rounds.roads.tiny_town import PLACES, at, town

SVG = "{http://www.w3.org/2000/svg}"


def lines_of(path: str) -> list[np.ndarray]:
    """Positions of path data made of relative moves, as the SVG grammar reads it (SVG 1.1, 8.3)."""
    here = np.zeros(2)
    lines = []
    for part in path.split("m")[1:]:
        numbers = [float(number) for number in re.findall(r"-?\d+", part)]
        steps = np.array(numbers).reshape(-1, 2)
        lines.append(here + np.cumsum(steps, axis=0))
        here = lines[-1][-1]
    return lines


def away(place: np.ndarray, line: np.ndarray) -> float:
    """How far a place lies from a line."""
    start, run = line[:-1], np.diff(line, axis=0)
    along = np.clip(((place - start) * run).sum(axis=1) / (run**2).sum(axis=1), 0, 1)
    return float(np.hypot(*(place - start - along[:, None] * run).T).min())


def test_a_country_is_drawn_in_three_paths_of_less_than_30_kb() -> None:
    text = drawing(roads_of_this_machine().graph)

    group = ElementTree.fromstring(text).find(f"{SVG}g")
    assert len(text.encode()) <= 30_000
    assert group is not None
    assert group.get("id") == "roads"
    assert [path.get("vector-effect") for path in group] == ["non-scaling-stroke"] * 3
    assert "© OpenStreetMap contributors" in text


def test_what_is_drawn_holds_nothing_the_security_policy_refuses() -> None:
    root = ElementTree.fromstring(drawing(roads_of_this_machine().graph))

    assert {element.tag for element in root.iter()} == {
        f"{SVG}{tag}" for tag in ("svg", "g", "path", "metadata")
    }
    assert not [element for element in root.iter() if "style" in element.attrib]


def test_main_roads_are_drawn_whole() -> None:
    graph = roads_of_this_machine().graph
    group = ElementTree.fromstring(drawing(graph)).find(f"{SVG}g")
    assert group is not None

    drawn_m = (
        sum(np.hypot(*np.diff(line, axis=0).T).sum() for line in lines_of(group[2].get("d", ""))) * GRID_M
    )

    # Simplified lines are a little shorter, never longer, than the roads.
    assert drawn_m == pytest.approx(graph.edge_metres[graph.edge_class == 0].sum(), rel=0.02)


def test_the_town_lies_where_its_places_lie(tmp_path: Path) -> None:
    graph = town(tmp_path).graph
    sheet = Sheet.of(graph)
    paths = ElementTree.fromstring(drawing(graph)).iter(f"{SVG}path")
    lines = [line for path in paths for line in lines_of(path.get("d", ""))]

    for number in PLACES:
        assert min(away(np.array(sheet.at(at(number))), line) for line in lines) <= 1


def test_a_simplified_line_never_strays_further_than_allowed() -> None:
    dice = np.random.default_rng(4)
    line = np.cumsum(dice.normal(0, 5, (200, 2)), axis=0)
    kept = simplified(line, TOLERANCE_M)

    assert 2 < len(kept) < len(line)
    assert max(away(place, kept) for place in line) <= TOLERANCE_M + 1e-9
