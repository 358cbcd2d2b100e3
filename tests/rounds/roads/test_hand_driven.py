"""Drives entered by hand: they replace what the source says, and nothing else."""

from dataclasses import replace
from typing import Any

from service.rounds.hand_driven import HandDriven, KnownDrive
from service.rounds.roads.straight_line import StraightLine
from service.rounds.roads.times import NO_ROAD, Point, Rows, Travel

YARD, MILL, FARM = Point(51.0, -2.0), Point(51.05, -2.0), Point(51.0, -2.1)
POINTS = [YARD, MILL, FARM]
TO_MILL = KnownDrive(YARD, MILL, 1500, 21_000, "Yard to Mill, 25 min")


class CutOff(StraightLine):
    """The mill lies by no road."""

    def matrix(self, points: Any) -> Travel:
        travel = super().matrix(points)
        lost = points.index(MILL)
        none = [
            [NO_ROAD if i != j and lost in (i, j) else value for j, value in enumerate(row)]
            for i, row in enumerate(travel.seconds)
        ]
        return replace(travel, seconds=none, metres=none, unreachable={lost: "No road within 300 m."})

    def rows(self, new: Any, points: Any) -> Rows:
        lost = [[NO_ROAD] * len(points) for _ in new]
        return Rows(lost, lost, lost, lost, [0.0] * len(new), dict.fromkeys(range(len(new)), "No road."))


def test_a_known_drive_counts_both_ways_and_the_others_stay() -> None:
    plain, known = StraightLine().matrix(POINTS), HandDriven(StraightLine(), lambda: [TO_MILL]).matrix(POINTS)

    assert (known.seconds[0][1], known.seconds[1][0]) == (1500, 1500)
    assert (known.metres[0][1], known.metres[1][0]) == (21_000, 21_000)
    assert known.seconds[2] == plain.seconds[2]
    assert known.seconds[0][2] == plain.seconds[0][2]


def test_the_plan_says_which_drives_were_entered_and_only_of_places_it_has() -> None:
    travel = HandDriven(StraightLine(), lambda: [TO_MILL])

    assert travel.matrix(POINTS).notes[-1] == "Drive entered by hand: Yard to Mill, 25 min."
    assert travel.matrix([YARD, FARM]).notes == StraightLine().matrix([YARD, FARM]).notes
    assert travel.honesty.endswith("; 1 drive entered by hand")
    assert travel.version != StraightLine().version


def test_without_any_the_source_answers_as_it_is() -> None:
    travel = HandDriven(StraightLine(), list)

    assert travel.matrix(POINTS) == StraightLine().matrix(POINTS)
    assert (travel.version, travel.honesty) == (StraightLine().version, StraightLine().honesty)


def test_a_place_without_a_road_is_reached_by_the_drive_that_was_entered_and_no_other() -> None:
    timed = replace(TO_MILL, metres=None)
    travel = HandDriven(CutOff(), lambda: [timed]).matrix(POINTS)

    assert travel.unreachable == {}
    assert (travel.seconds[0][1], travel.seconds[1][2]) == (1500, NO_ROAD)
    # A twentieth of a degree of latitude is 5.56 km (a degree at 51° is 111.25 km; USGS PP 1395, table 1).
    assert abs(travel.metres[0][1] - 5562) < 10


def test_the_rows_of_a_new_place_have_it_too() -> None:
    rows = HandDriven(CutOff(), lambda: [TO_MILL]).rows([MILL], POINTS)

    assert (rows.seconds_out[0][0], rows.seconds_back[0][0]) == (1500, 1500)
    assert (rows.metres_out[0][0], rows.metres_back[0][0]) == (21_000, 21_000)
    assert rows.seconds_out[0][2] == NO_ROAD
    assert rows.unreachable == {}


def test_two_sites_at_one_point_share_the_drive() -> None:
    travel = HandDriven(StraightLine(), lambda: [TO_MILL]).matrix([YARD, MILL, MILL])

    assert travel.seconds[0][1:] == [1500, 1500]
