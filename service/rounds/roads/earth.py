"""Distances on the Earth's ellipsoid, short enough for a van."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# WGS 84: NIMA Technical Report TR8350.2, third edition, table 3.1 and 3.3.
SEMI_MAJOR_M = 6_378_137.0
ECCENTRICITY_SQUARED = 0.00669437999014


def metres_per_degree(latitude: Floats | float) -> tuple[Floats, Floats]:
    """Metres of one degree of latitude and of one degree of longitude, at ``latitude`` [degrees].

    From the ellipsoid's radii of curvature in the meridian and in the prime vertical (Snyder, Map
    Projections: A Working Manual, U.S. Geological Survey Professional Paper 1395, equations 4-18 and
    4-20).
    """
    sine = np.sin(np.radians(np.asarray(latitude, dtype=np.float64)))
    root = np.sqrt(1 - ECCENTRICITY_SQUARED * sine**2)
    meridian_m = SEMI_MAJOR_M * (1 - ECCENTRICITY_SQUARED) / root**3
    prime_vertical_m = SEMI_MAJOR_M / root
    degree = np.pi / 180
    return meridian_m * degree, prime_vertical_m * np.sqrt(1 - sine**2) * degree


def distance_m(
    latitude: Floats | float,
    longitude: Floats | float,
    other_latitude: Floats | float,
    other_longitude: Floats | float,
) -> Floats:
    """Metres between positions in degrees, element by element.

    The chord of the ellipsoid's curvature at the middle latitude: within 0.01 % up to 100 km away
    from the poles, which is more than any round needs.
    """
    north, east = metres_per_degree((np.asarray(latitude) + other_latitude) / 2)
    turn = (np.asarray(longitude) - other_longitude + 180) % 360 - 180
    distance: Floats = np.hypot((np.asarray(latitude) - other_latitude) * north, turn * east)
    return distance


@dataclass(frozen=True)
class Plane:
    """Metres east and north of a corner, on a plane that touches the Earth at ``latitude``."""

    latitude: float
    longitude: float
    metres_north: float
    metres_east: float

    @classmethod
    def at(cls, latitude: float, longitude: float) -> "Plane":
        north, east = metres_per_degree(latitude)
        return cls(latitude, longitude, float(north), float(east))

    def xy(self, latitude: Floats, longitude: Floats) -> tuple[Floats, Floats]:
        """Metres east, metres north."""
        return (longitude - self.longitude) * self.metres_east, (latitude - self.latitude) * self.metres_north
