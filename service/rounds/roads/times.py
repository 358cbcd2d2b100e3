"""What every source of travel times gives, whichever it is."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

NO_ROAD = -1
"""Seconds and metres of a pair without a drive. Never a number that a planner could add up."""

DECIMALS = 5
"""A point is its coordinates to 5 decimals of a degree: about 1 m."""

OPENSTREETMAP = "© OpenStreetMap contributors"
OPENSTREETMAP_URL = "https://www.openstreetmap.org/copyright"


class RoadsError(Exception):
    """The source cannot answer at all; the message is for the office. Nothing is made up instead."""


@dataclass(frozen=True, order=True)
class Point:
    """A position in degrees (WGS 84), rounded to 5 decimals.

    Raises ValueError outside -90…90 and -180…180.

    >>> Point(47.1662004, 9.5098)
    Point(latitude=47.1662, longitude=9.5098)
    """

    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        for name, most in (("latitude", 90), ("longitude", 180)):
            value = float(getattr(self, name))
            if not -most <= value <= most:
                raise ValueError(f"The {name} must be between -{most} and {most} degrees.")
            object.__setattr__(self, name, round(value, DECIMALS) + 0.0)


@dataclass(frozen=True)
class Travel:
    """Drives between all pairs of points.

    seconds, metres  [from][to], whole; 0 on the diagonal; NO_ROAD where there is no drive.
    snap_m           Metres from each point to the road the drive ends at; 0 for straight lines.
    unreachable      Why a point has no drives at all, by its index, as the office reads it.
    source, version  What was asked, kept with every plan; the version is part of every cache key.
    notes            What holds for all drives: what the source can and cannot say, the firm's factor.
    """

    seconds: list[list[int]]
    metres: list[list[int]]
    snap_m: list[float]
    unreachable: dict[int, str]
    source: str
    version: str
    notes: tuple[str, ...]

    def for_planner(self) -> dict[str, list[list[int | None]]]:
        """The matrices as the planner's request wants them: null where there is no drive."""
        return {"seconds": _with_nulls(self.seconds), "metres": _with_nulls(self.metres)}


@dataclass(frozen=True)
class Rows:
    """Drives from and to new points only, both directions.

    seconds_out, metres_out    [new][point]: from the new point.
    seconds_back, metres_back  [new][point]: to the new point.
    snap_m, unreachable        Of the new points, as in Travel.
    """

    seconds_out: list[list[int]]
    metres_out: list[list[int]]
    seconds_back: list[list[int]]
    metres_back: list[list[int]]
    snap_m: list[float]
    unreachable: dict[int, str]


class TravelTimes(Protocol):
    """A source of travel times.

    source       Short label: "straight line", "roads 2013-08-03 (edb2b075)", "server localhost:5000".
    version      Digest of whatever changes the answers.
    honesty      What the source can and cannot say, in words.
    attribution  Whose data it is; shown wherever the times or the map are.
    """

    @property
    def source(self) -> str: ...
    @property
    def version(self) -> str: ...
    @property
    def honesty(self) -> str: ...
    @property
    def attribution(self) -> str: ...

    def matrix(self, points: Sequence[Point]) -> Travel:
        """Drives between all pairs. Raises RoadsError when the source cannot answer."""
        ...

    def rows(self, new: Sequence[Point], points: Sequence[Point]) -> Rows:
        """Drives between each of ``new`` and each of ``points``, equal to those of ``matrix``."""
        ...

    def line(self, start: Point, end: Point) -> list[Point] | None:
        """The course of the drive, or None when the source does not know it."""
        ...


def same_place(starts: Sequence[Point], ends: Sequence[Point]) -> NDArray[np.bool_]:
    """[start][end]: whether both are one point, so that there is nothing to drive."""
    number = {point: place for place, point in enumerate([*ends, *starts])}
    start, end = (np.array([number[point] for point in points], dtype=int) for points in (starts, ends))
    same: NDArray[np.bool_] = start[:, None] == end[None, :]
    return same


def _with_nulls(matrix: list[list[int]]) -> list[list[int | None]]:
    return [[None if value == NO_ROAD else value for value in row] for row in matrix]
