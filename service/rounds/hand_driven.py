"""Travel times in which some drives are known better than the source knows them. No database."""

import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from service.rounds.roads.earth import distance_m
from service.rounds.roads.times import NO_ROAD, Point, Rows, Travel, TravelTimes

Matrix = list[list[int]]


@dataclass(frozen=True)
class KnownDrive:
    """One drive between two points, the same both ways. metres: None when only the time is known.

    words  How the plan says it: "Mill to The yard, 25 min".
    """

    start: Point
    end: Point
    seconds: int
    metres: int | None
    words: str


@dataclass(frozen=True)
class HandDriven:
    """Travel times of ``inner``; where a drive is known by hand, that one, and the plan says so.

    load  Gives the known drives; asked once, when a drive is.
    """

    inner: TravelTimes
    load: Callable[[], Sequence[KnownDrive]]

    @cached_property
    def drives(self) -> tuple[KnownDrive, ...]:
        return tuple(self.load())

    @property
    def source(self) -> str:
        return self.inner.source

    @property
    def version(self) -> str:
        if not self.drives:
            return self.inner.version
        told = repr([(drive.start, drive.end, drive.seconds, drive.metres) for drive in self.drives])
        return f"{self.inner.version}+{hashlib.sha256(told.encode()).hexdigest()[:8]}"

    @property
    def honesty(self) -> str:
        count = len(self.drives)
        if not count:
            return self.inner.honesty
        return f"{self.inner.honesty}; {count} drive{'' if count == 1 else 's'} entered by hand"

    @property
    def attribution(self) -> str:
        return self.inner.attribution

    def matrix(self, points: Sequence[Point]) -> Travel:
        """Drives between all pairs. A point that only a known drive leads to can be reached by it."""
        travel = self.inner.matrix(points)
        used = list(self._between(points, points))
        if not used:
            return travel
        seconds, metres = [list(row) for row in travel.seconds], [list(row) for row in travel.metres]
        for drive, here, there in used:
            seconds[here][there] = drive.seconds
            metres[here][there] = _metres(drive, metres[here][there])
        reached = {place for _, here, there in used for place in (here, there)}
        said = dict.fromkeys(f"Drive entered by hand: {drive.words}." for drive, _, _ in used)
        return replace(
            travel,
            seconds=seconds,
            metres=metres,
            unreachable={place: why for place, why in travel.unreachable.items() if place not in reached},
            version=self.version,
            notes=(*travel.notes, *said),
        )

    def rows(self, new: Sequence[Point], points: Sequence[Point]) -> Rows:
        """Drives from and to new points."""
        rows = self.inner.rows(new, points)
        used = list(self._between(new, points))
        if not used:
            return rows
        out, back = _copied(rows.seconds_out), _copied(rows.seconds_back)
        metres_out, metres_back = _copied(rows.metres_out), _copied(rows.metres_back)
        for drive, here, there in used:
            out[here][there] = back[here][there] = drive.seconds
            for metres in (metres_out, metres_back):
                metres[here][there] = _metres(drive, metres[here][there])
        reached = {here for _, here, _ in used}
        return replace(
            rows,
            seconds_out=out,
            seconds_back=back,
            metres_out=metres_out,
            metres_back=metres_back,
            unreachable={place: why for place, why in rows.unreachable.items() if place not in reached},
        )

    def line(self, start: Point, end: Point) -> list[Point] | None:
        """The course of a drive, as ``inner`` has it."""
        return self.inner.line(start, end)

    def _between(
        self, starts: Sequence[Point], ends: Sequence[Point]
    ) -> Iterator[tuple[KnownDrive, int, int]]:
        """Every known drive with the places of its ends among ``starts`` and ``ends``, both ways."""
        if not self.drives:
            return
        here, there = _places(starts), _places(ends)
        for drive in self.drives:
            for start, end in ((drive.start, drive.end), (drive.end, drive.start)):
                for first in here.get(start, ()):
                    for second in there.get(end, ()):
                        yield drive, first, second


def _places(points: Iterable[Point]) -> dict[Point, list[int]]:
    places: dict[Point, list[int]] = {}
    for place, point in enumerate(points):
        places.setdefault(point, []).append(place)
    return places


def _metres(drive: KnownDrive, told: int) -> int:
    """Metres as entered, else as the source told, else along a straight line."""
    if drive.metres is not None:
        return drive.metres
    if told != NO_ROAD:
        return told
    start, end = drive.start, drive.end
    return round(float(distance_m(start.latitude, start.longitude, end.latitude, end.longitude)))


def _copied(matrix: Matrix) -> Matrix:
    return [list(row) for row in matrix]
