"""A source of travel times that remembers, in the database, what it has said.

A row of the table holds one point's drives to and from all points known when it was asked. Of a pair
whichever point came later holds both directions; a new site is one more row, nothing else changes.
"""

from collections.abc import Iterable, Sequence
from datetime import timedelta

import numpy as np
from django.db import transaction
from django.utils import timezone
from numpy.typing import NDArray

from accounts.models import Organisation
from service.rounds.models import RoadRow
from service.rounds.roads.times import DECIMALS, Point, Rows, Travel, TravelTimes, same_place

DRIVES = np.dtype(
    [
        ("latitude_e5", "<i4"),
        ("longitude_e5", "<i4"),
        ("seconds_out", "<i4"),
        ("metres_out", "<i4"),
        ("seconds_back", "<i4"),
        ("metres_back", "<i4"),
    ]
)
KEPT_DAYS = 30
"""A server's roads change unsaid, and a site that is gone must not stay here for ever."""
_UNKNOWN = -2
_E5 = 10.0**DECIMALS

Matrix = NDArray[np.int32]
Keys = NDArray[np.int64]


class RememberedTravel:
    """``source``, asked only for what it has not said before. Needs the organisation in scope."""

    def __init__(self, source: TravelTimes, organisation: Organisation) -> None:
        self._source = source
        self._organisation = organisation
        self.source = source.source
        self.version = source.version
        self.honesty = source.honesty
        self.attribution = source.attribution

    def matrix(self, points: Sequence[Point]) -> Travel:
        """Drives between all pairs. Raises RoadsError when the source must be asked and cannot answer."""
        unique = list(dict.fromkeys(points))
        board = _Board(unique)
        for row in self._kept(unique):
            board.read(row)
        if lacking := board.lacking():
            board.take(lacking, self._asked([unique[i] for i in lacking], unique))
            self._keep(board, lacking)
        return self._travel(board, points)

    def rows(self, new: Sequence[Point], points: Sequence[Point]) -> Rows:
        """Straight from the source: rows are for points not seen before."""
        return self._source.rows(new, points)

    def line(self, start: Point, end: Point) -> list[Point] | None:
        """The course of a drive, which is not kept."""
        return self._source.line(start, end)

    def _asked(self, new: Sequence[Point], points: Sequence[Point]) -> Rows:
        if len(new) < len(points):
            return self._source.rows(new, points)
        travel = self._source.matrix(points)
        seconds_back, metres_back = (
            [list(column) for column in zip(*matrix, strict=True)]
            for matrix in (travel.seconds, travel.metres)
        )
        return Rows(
            seconds_out=travel.seconds,
            metres_out=travel.metres,
            seconds_back=seconds_back,
            metres_back=metres_back,
            snap_m=travel.snap_m,
            unreachable=travel.unreachable,
        )

    def _kept(self, points: Sequence[Point]) -> Iterable[RoadRow]:
        latitudes = {_e5(point.latitude) for point in points}
        return RoadRow.objects.filter(
            organisation=self._organisation,
            version=self.version,
            latitude_e5__in=latitudes,
            kept_at__gte=timezone.now() - timedelta(days=KEPT_DAYS),
        )

    @transaction.atomic
    def _keep(self, board: "_Board", lacking: Sequence[int]) -> None:
        now = timezone.now()
        kept = RoadRow.objects.filter(organisation=self._organisation)
        kept.exclude(version=self.version, kept_at__gte=now - timedelta(days=KEPT_DAYS)).delete()
        RoadRow.objects.bulk_create(
            [board.row(place, self._organisation, self.version) for place in lacking],
            update_conflicts=True,
            unique_fields=["organisation", "version", "latitude_e5", "longitude_e5"],
            update_fields=["snap_m", "reason", "drives", "kept_at"],
        )

    def _travel(self, board: "_Board", points: Sequence[Point]) -> Travel:
        place = {point: i for i, point in enumerate(board.points)}
        order = [place[point] for point in points]
        seconds, metres = (matrix[np.ix_(order, order)] for matrix in (board.seconds, board.metres))
        seconds[same_place(points, points)] = metres[same_place(points, points)] = 0
        return Travel(
            seconds=seconds.tolist(),
            metres=metres.tolist(),
            snap_m=[board.snap_m[i] for i in order],
            unreachable={here: board.reasons[i] for here, i in enumerate(order) if board.reasons[i]},
            source=self.source,
            version=self.version,
            notes=(f"Driving times: {self.honesty}.",),
        )


class _Board:
    """All pairs of some points, filled from rows and from the source."""

    def __init__(self, points: list[Point]) -> None:
        self.points = points
        size = len(points)
        self.seconds: Matrix = np.full((size, size), _UNKNOWN, dtype=np.int32)
        self.metres: Matrix = np.full((size, size), _UNKNOWN, dtype=np.int32)
        np.fill_diagonal(self.seconds, 0)
        np.fill_diagonal(self.metres, 0)
        self.snap_m = [0.0] * size
        self.reasons = [""] * size
        self._has_row = np.zeros(size, dtype=bool)
        self._others: dict[int, NDArray[np.void]] = {}
        latitude_e5 = np.array([_e5(point.latitude) for point in points], dtype=np.int64)
        longitude_e5 = np.array([_e5(point.longitude) for point in points], dtype=np.int64)
        keys = _keys(latitude_e5, longitude_e5)
        self._order = np.argsort(keys)
        self._sorted = keys[self._order]

    def read(self, row: RoadRow) -> None:
        """Fill in a kept row; one of another point is passed over."""
        here = self._places(np.array([row.latitude_e5]), np.array([row.longitude_e5]))[0]
        if here < 0:
            return
        drives = np.frombuffer(row.drives, dtype=DRIVES)
        there = self._places(drives["latitude_e5"], drives["longitude_e5"])
        self._others[int(here)] = drives[there < 0]
        known, there = drives[there >= 0], there[there >= 0]
        self.seconds[here, there], self.metres[here, there] = known["seconds_out"], known["metres_out"]
        self.seconds[there, here], self.metres[there, here] = known["seconds_back"], known["metres_back"]
        self.snap_m[here], self.reasons[here] = row.snap_m, row.reason
        self._has_row[here] = True

    def lacking(self) -> list[int]:
        """Points to ask the source for: those without a row, and the later one of an unknown pair."""
        unknown = np.triu((self.seconds == _UNKNOWN) | (self.seconds.T == _UNKNOWN))
        unknown[~self._has_row, :] = unknown[:, ~self._has_row] = False
        later = np.flatnonzero(unknown.any(axis=0))
        return sorted({*np.flatnonzero(~self._has_row).tolist(), *later.tolist()})

    def take(self, places: Sequence[int], rows: Rows) -> None:
        """Fill in what the source said about the points at ``places``."""
        here = list(places)
        self.seconds[here, :], self.metres[here, :] = rows.seconds_out, rows.metres_out
        self.seconds[:, here] = np.array(rows.seconds_back, dtype=np.int32).T
        self.metres[:, here] = np.array(rows.metres_back, dtype=np.int32).T
        for new, place in enumerate(places):
            self.snap_m[place] = rows.snap_m[new]
            self.reasons[place] = rows.unreachable.get(new, "")

    def row(self, place: int, organisation: Organisation, version: str) -> RoadRow:
        """The row to keep for the point at ``place``."""
        drives = np.empty(len(self.points), dtype=DRIVES)
        for name, axis in (("latitude_e5", "latitude"), ("longitude_e5", "longitude")):
            drives[name] = [_e5(getattr(point, axis)) for point in self.points]
        drives["seconds_out"], drives["metres_out"] = self.seconds[place], self.metres[place]
        drives["seconds_back"], drives["metres_back"] = self.seconds[:, place], self.metres[:, place]
        others = self._others.get(place, drives[:0])
        point = self.points[place]
        return RoadRow(
            organisation=organisation,
            version=version,
            latitude_e5=_e5(point.latitude),
            longitude_e5=_e5(point.longitude),
            snap_m=self.snap_m[place],
            reason=self.reasons[place],
            drives=np.concatenate([drives, others]).tobytes(),
        )

    def _places(self, latitude_e5: NDArray[np.int32], longitude_e5: NDArray[np.int32]) -> Keys:
        """Where each point stands in ``points``; -1 for those that do not."""
        keys = _keys(latitude_e5.astype(np.int64), longitude_e5.astype(np.int64))
        found = np.minimum(np.searchsorted(self._sorted, keys), len(self._sorted) - 1)
        places: Keys = np.where(self._sorted[found] == keys, self._order[found], -1)
        return places


def _e5(degrees: float) -> int:
    return round(degrees * _E5)


def _keys(latitude_e5: Keys, longitude_e5: Keys) -> Keys:
    return latitude_e5 * 2**32 + longitude_e5
