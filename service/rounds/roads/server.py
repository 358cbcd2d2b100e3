"""Travel times asked of a server that speaks the open table API (``/nearest/v1``, ``/table/v1``).

The API: "HTTP API" of the OSRM project's documentation; other engines answer it too. Only what the
API promises is used: positions in the address, ``code``, ``waypoints``, ``durations``, ``distances``.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from http.client import HTTPException, HTTPResponse
from typing import Any

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from .earth import Floats
from .pins import CUT_OFF, MOST_M, no_road_within, walk_s
from .server_address import ServerAddress
from .times import NO_ROAD, OPENSTREETMAP, Point, RoadsError, Rows, Travel, same_place

BLOCK = 50
"""Starts and ends of one request: together the 100 positions that the API's servers allow by default."""
ATTEMPTS = 2
MOST_BYTES = 8_000_000
_REFUSALS = {"NoSegment": "has no road near the pin", "TooBig": "allows fewer points in one request"}


@dataclass(frozen=True)
class _Block:
    seconds: Floats
    metres: Floats


class TableServer:
    """A source of travel times on another machine.

    It raises RoadsError when the server does not answer; straight lines are never mixed in, since a
    plan made of both would look better than either.
    """

    honesty = "times of the road server; without traffic"
    attribution = OPENSTREETMAP

    def __init__(self, url: str, *, block: int = BLOCK) -> None:
        self._address = ServerAddress.of(url)
        self._block = block

    @property
    def source(self) -> str:
        """ "server localhost:5000"."""
        return f"server {self._address.host}:{self._address.port}"

    @property
    def version(self) -> str:
        """Digest of the address: what the server's roads are, the API does not say."""
        return "server-" + hashlib.sha256(repr(self._address).encode()).hexdigest()[:16]

    def matrix(self, points: Sequence[Point]) -> Travel:
        """Drives between all pairs; far pins are asked for first, so that none is moved in silence."""
        snap_m, reasons = self._snaps(points)
        table = self._table(points, points, snap_m, snap_m, reasons, reasons)
        for place in _cut_off(table.seconds, reasons):
            reasons[place] = CUT_OFF
            table.seconds[place, :] = table.seconds[:, place] = np.inf
        seconds, metres = _whole(table, points, points)
        return Travel(
            seconds=seconds,
            metres=metres,
            snap_m=snap_m,
            unreachable=reasons,
            source=self.source,
            version=self.version,
            notes=(f"Driving times: {self.honesty}.",),
        )

    def rows(self, new: Sequence[Point], points: Sequence[Point]) -> Rows:
        """Drives from and to the new points; one without a drive to any other is cut off."""
        new_snap_m, new_reasons = self._snaps(new)
        snap_m, reasons = self._snaps(points)
        out = self._table(new, points, new_snap_m, snap_m, new_reasons, reasons)
        back = self._table(points, new, snap_m, new_snap_m, reasons, new_reasons)
        others = [point not in new for point in points]
        for place in range(len(new)):
            there, again = out.seconds[place, others], back.seconds[others, place]
            if place not in new_reasons and there.size and np.isinf(np.minimum(there, again)).all():
                new_reasons[place] = CUT_OFF
        seconds_out, metres_out = _whole(out, new, points)
        seconds_back, metres_back = _whole(_Block(back.seconds.T, back.metres.T), new, points)
        return Rows(seconds_out, metres_out, seconds_back, metres_back, new_snap_m, new_reasons)

    def line(self, start: Point, end: Point) -> list[Point] | None:
        """None: the map draws the extract's roads, and the server may have others."""
        return None

    def _snaps(self, points: Sequence[Point]) -> tuple[list[float], dict[int, str]]:
        """Metres to the nearest road of each point, and why some are not planned."""
        snap_m, reasons = [], {}
        for place, point in enumerate(points):
            nearest_m = self._nearest_m(point)
            snap_m.append(round(nearest_m, 1))
            if nearest_m > MOST_M:
                reasons[place] = no_road_within(nearest_m)
        return snap_m, reasons

    def _nearest_m(self, point: Point) -> float:
        told = self._ask(f"/nearest/v1/driving/{_coordinate(point)}?number=1")
        return _numbers([told["waypoints"][0]["distance"]])[0] if told.get("waypoints") else np.inf

    def _table(
        self,
        starts: Sequence[Point],
        ends: Sequence[Point],
        from_snap_m: Sequence[float],
        to_snap_m: Sequence[float],
        bad_starts: dict[int, str],
        bad_ends: dict[int, str],
    ) -> _Block:
        """Drives from each start to each end, walks added; inf where there is none."""
        table = _Block(*(np.full((len(starts), len(ends)), np.inf) for _ in range(2)))
        good_starts = [place for place in range(len(starts)) if place not in bad_starts]
        good_ends = [place for place in range(len(ends)) if place not in bad_ends]
        for rows in _blocks(good_starts, self._block):
            for columns in _blocks(good_ends, self._block):
                part = self._part([starts[i] for i in rows], [ends[j] for j in columns])
                table.seconds[np.ix_(rows, columns)] = part.seconds
                table.metres[np.ix_(rows, columns)] = part.metres
        walk = np.array([walk_s(m) for m in from_snap_m])[:, None] + [walk_s(m) for m in to_snap_m]
        return _Block(table.seconds + walk, table.metres)

    def _part(self, starts: Sequence[Point], ends: Sequence[Point]) -> _Block:
        places = ";".join(_coordinate(point) for point in [*starts, *ends])
        sources = ";".join(str(i) for i in range(len(starts)))
        destinations = ";".join(str(len(starts) + j) for j in range(len(ends)))
        told = self._ask(
            f"/table/v1/driving/{places}?annotations=duration,distance"
            f"&sources={sources}&destinations={destinations}"
        )
        shape = (len(starts), len(ends))
        return _Block(_matrix(told.get("durations"), shape), _matrix(told.get("distances"), shape))

    def _ask(self, path: str) -> dict[str, Any]:
        failure: Exception | None = None
        for _ in range(ATTEMPTS):
            try:
                return self._answer(path)
            except (OSError, HTTPException) as error:
                failure = error
        raise RoadsError(
            f"The road server at {self._address.host} does not answer ({type(failure).__name__}). "
            "Try again later, or plan on straight lines."
        ) from failure

    def _answer(self, path: str) -> dict[str, Any]:
        connection = self._address.connect()
        try:
            connection.request("GET", self._address.path + path, headers={"Accept": "application/json"})
            return self._told(connection.getresponse())
        finally:
            connection.close()

    def _told(self, response: HTTPResponse) -> dict[str, Any]:
        body = response.read(MOST_BYTES + 1)
        if response.status >= 500:
            raise HTTPException(f"status {response.status}")
        try:
            told = json.loads(body)
        except ValueError:
            told = None
        if len(body) > MOST_BYTES or not isinstance(told, dict) or not isinstance(told.get("code"), str):
            raise RoadsError(f"What answers at {self._address.host} is not a road server.")
        if told["code"] != "Ok":
            why = _REFUSALS.get(told["code"], "refused the request")
            raise RoadsError(f"The road server at {self._address.host} {why}.")
        return told


def _coordinate(point: Point) -> str:
    return f"{point.longitude:.5f},{point.latitude:.5f}"


def _blocks(places: list[int], size: int) -> list[list[int]]:
    return [places[first : first + size] for first in range(0, len(places), size)]


def _numbers(values: Any) -> list[float]:
    """Numbers of an answer, null as inf. Raises RoadsError for anything else."""
    if not isinstance(values, list) or any(
        value is not None and (isinstance(value, bool) or not isinstance(value, int | float) or value < 0)
        for value in values
    ):
        raise RoadsError("The road server's answer does not hold the numbers asked for.")
    return [np.inf if value is None else float(value) for value in values]


def _matrix(rows: Any, shape: tuple[int, int]) -> Floats:
    values = [_numbers(row) for row in rows] if isinstance(rows, list) else []
    if len(values) != shape[0] or any(len(row) != shape[1] for row in values):
        raise RoadsError("The road server's answer does not hold the numbers asked for.")
    return np.array(values, dtype=np.float64)


def _cut_off(seconds: Floats, known: dict[int, str]) -> list[int]:
    """Points outside the largest group in which every point reaches every other."""
    good = [place for place in range(len(seconds)) if place not in known]
    if not good:
        return []
    reached = np.isfinite(seconds[np.ix_(good, good)])
    _, part = connected_components(csr_array(reached.astype(float)), connection="strong")
    largest = np.bincount(part).argmax()
    return [place for place, own in zip(good, part, strict=True) if own != largest]


def _whole(
    table: _Block, starts: Sequence[Point], ends: Sequence[Point]
) -> tuple[list[list[int]], list[list[int]]]:
    none = np.isinf(table.seconds) | np.isinf(table.metres)
    same = same_place(starts, ends)
    seconds, metres = (
        np.rint(np.where(same, 0, np.where(none, NO_ROAD, matrix))).astype(int).tolist()
        for matrix in (table.seconds, table.metres)
    )
    return seconds, metres
