"""Straight lines: two constants, and a label that never lets them pass for roads."""

import pytest

from service.rounds.roads.straight_line import StraightLine
from service.rounds.roads.times import Point

# On the equator a degree of longitude is 111,319.49 m (WGS 84, by definition of the ellipsoid).
TEN_KM_EAST = Point(0, 0.08983)


def test_a_drive_is_100_s_and_92_s_a_straight_kilometre() -> None:
    travel = StraightLine().matrix([Point(0, 0), TEN_KM_EAST])

    assert travel.seconds == [[0, 1020], [1020, 0]]
    assert travel.metres[0][1] == pytest.approx(14_000, abs=2)


def test_rows_equal_the_matrix() -> None:
    points = [Point(47, 9), Point(47.1, 9.2), Point(46.9, 9.1)]

    rows, whole = StraightLine().rows(points[:1], points), StraightLine().matrix(points)

    assert (rows.seconds_out[0], rows.metres_out[0]) == (whole.seconds[0], whole.metres[0])
    assert rows.seconds_back[0] == [row[0] for row in whole.seconds]


def test_the_plan_says_how_little_a_straight_line_knows() -> None:
    source = StraightLine()

    assert source.honesty == "straight line, 100 s + 92 s a km, ± 45 %"
    assert source.matrix([]).notes == (f"Driving times: {source.honesty}.",)
    assert source.line(Point(47, 9), Point(47.1, 9)) is None
