"""A round drawn to scale as one thin line: where its hours go. Plain values, no database."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

WIDTH = 1000
"""Units from the week's first hour to its last."""
HOUR = timedelta(hours=1)


class Leg(Protocol):
    """One stop with the drive to it."""

    arrive_at: datetime | None
    start_at: datetime | None
    leave_at: datetime | None
    drive_seconds: int


class Drive(Protocol):
    """The round that the stops are on."""

    depart_at: datetime
    back_at: datetime
    back_drive_seconds: int
    overtime_seconds: int
    pause_from: datetime | None
    pause_to: datetime | None


@dataclass(frozen=True)
class Piece:
    """A stretch of one kind: "drive", "work", "wait", "break" or "overtime". x, width: units."""

    kind: str
    x: float
    width: float

    @property
    def end(self) -> float:
        return round(self.x + self.width, 1)


@dataclass(frozen=True)
class Scale:
    """Which hours of a day the line spans: seconds from the day's own midnight."""

    first: int
    last: int

    def at(self, seconds: float) -> float:
        """Units from the left."""
        return round((seconds - self.first) / (self.last - self.first) * WIDTH, 1)

    @property
    def hours(self) -> list[tuple[float, str]]:
        """Every full hour but the two ends: where it lies and what the clock shows."""
        between = range(self.first // 3600 + 1, self.last // 3600)
        return [(self.at(hour * 3600), f"{hour % 24:02}") for hour in between]


def scale_of(spans: Iterable[tuple[float, float]]) -> Scale:
    """Whole hours that hold all rounds; 08 to 17 without any.

    >>> scale_of([(8.5 * 3600, 16.2 * 3600), (7.9 * 3600, 12 * 3600)])
    Scale(first=25200, last=61200)
    """
    spans = list(spans)
    first = min((span[0] for span in spans), default=8 * 3600)
    last = max((span[1] for span in spans), default=17 * 3600)
    return Scale(int(first // 3600) * 3600, int(-(-last // 3600)) * 3600)


def pieces_of(drive: Drive, legs: Sequence[Leg]) -> Iterator[tuple[str, datetime, datetime]]:
    """The stretches of a round in order of drawing: kind, begin, end."""
    for leg in legs:
        if leg.arrive_at is None or leg.start_at is None or leg.leave_at is None:
            continue
        yield "drive", leg.arrive_at - timedelta(seconds=leg.drive_seconds), leg.arrive_at
        if leg.start_at > leg.arrive_at:
            yield "wait", leg.arrive_at, leg.start_at
        yield "work", leg.start_at, leg.leave_at
    yield "drive", drive.back_at - timedelta(seconds=drive.back_drive_seconds), drive.back_at
    if drive.pause_from and drive.pause_to and drive.pause_from < drive.back_at:
        yield "break", drive.pause_from, drive.pause_to
    if drive.overtime_seconds:
        yield "overtime", drive.back_at - timedelta(seconds=drive.overtime_seconds), drive.back_at


def hairline(drive: Drive, legs: Sequence[Leg], *, scale: Scale, midnight: datetime) -> tuple[Piece, ...]:
    """A round's line. midnight: the aware beginning of its day."""

    def units(moment: datetime) -> float:
        return scale.at((moment - midnight).total_seconds())

    return tuple(
        Piece(kind, units(begin), round(units(end) - units(begin), 1))
        for kind, begin, end in pieces_of(drive, legs)
        if end > begin
    )
