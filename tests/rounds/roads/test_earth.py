"""Distances against published geodesics."""

import numpy as np
import pytest

from service.rounds.roads.earth import distance_m, metres_per_degree


def degrees(whole: int, minutes: int, seconds: float) -> float:
    return whole + minutes / 60 + seconds / 3600


def test_the_line_from_flinders_peak_to_buninyong_has_its_published_length() -> None:
    # Geocentric Datum of Australia Technical Manual, chapter 4, worked example of Vincenty's inverse
    # formula: 54,972.271 m on GRS80, which differs from WGS 84 by less than a millimetre here.
    peak = -degrees(37, 57, 3.72030), degrees(144, 25, 29.52440)
    buninyong = -degrees(37, 39, 10.15610), degrees(143, 55, 35.38390)

    assert float(distance_m(*peak, *buninyong)) == pytest.approx(54_972.271, rel=5e-5)


@pytest.mark.parametrize(
    ("latitude", "north_m", "east_m"),
    # "Length of a degree", as printed in handbooks for WGS 84 (here to the metre, from memory).
    [(0, 110_574, 111_320), (15, 110_649, 107_550), (45, 111_132, 78_847), (60, 111_412, 55_800)],
)
def test_a_degree_is_as_long_as_the_tables_say(latitude: float, north_m: float, east_m: float) -> None:
    north, east = metres_per_degree(latitude)

    assert (float(north), float(east)) == pytest.approx((north_m, east_m), abs=1)


def test_a_drive_over_the_date_line_is_short() -> None:
    assert float(distance_m(0.0, 179.999, 0.0, -179.999)) == pytest.approx(222.6, abs=0.1)


def test_distances_are_the_same_both_ways() -> None:
    latitude, longitude = np.random.default_rng(7).uniform(-60, 60, (2, 50))

    there = distance_m(latitude[:, None], longitude[:, None], latitude, longitude)

    assert np.allclose(there, there.T, rtol=1e-12, atol=0)
