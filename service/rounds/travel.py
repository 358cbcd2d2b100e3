"""Which travel times a firm plans with: its choice of source, remembered, times its own factor."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from django.conf import settings

from accounts.models import Organisation
from service.rounds.hand_driven import HandDriven
from service.rounds.hand_drives import known_drives
from service.rounds.models import RoadSource
from service.rounds.road_rows import RememberedTravel
from service.rounds.roads import extract
from service.rounds.roads.extract import Extract
from service.rounds.roads.server import TableServer
from service.rounds.roads.straight_line import StraightLine
from service.rounds.roads.times import NO_ROAD, Point, RoadsError, Rows, Travel, TravelTimes
from service.rounds.round_settings import round_settings

FOLDER = Path(settings.DATA_DIR) / "roads"
CURRENT = FOLDER / "current"
"""Names the compiled roads of this machine; without it the demonstration's are used."""
SHIPPED = Path(settings.BASE_DIR) / "fixtures" / "roads" / "liechtenstein-2013-08-03.osm.pbf"
SHIPPED_SHA256 = "edb2b075be057662691fc343abed4ed58f139dd7c501c243197640fcb3ea82d4"
FOR_DEMONSTRATION = "Roads of 2013, for demonstration"


def travel_times_for(organisation: Organisation) -> TravelTimes:
    """The firm's travel times, with the drives it entered by hand. Needs the organisation in scope.

    Raises RoadsError.
    """
    chosen = round_settings(organisation)
    source = travel_times(
        organisation,
        road_source=chosen.road_source,
        server_url=chosen.server_url,
        road_factor=float(chosen.road_factor),
    )
    return HandDriven(source, partial(known_drives, organisation))


def travel_times(
    organisation: Organisation, *, road_source: str, server_url: str = "", road_factor: float = 1.0
) -> TravelTimes:
    """Travel times of a source, remembered for the firm unless they are straight lines.

    road_source  A RoadSource.
    server_url   Where the table server answers; only for RoadSource.SERVER.
    road_factor  What all seconds are multiplied with; 1 leaves them alone.
    """
    source = _source(organisation, road_source, server_url)
    return source if road_factor == 1 else FactoredTravel(source, road_factor)


def _source(organisation: Organisation, road_source: str, server_url: str) -> TravelTimes:
    if road_source == RoadSource.EXTRACT:
        return RememberedTravel(roads_of_this_machine(), organisation)
    if road_source == RoadSource.SERVER:
        try:
            return RememberedTravel(TableServer(server_url), organisation)
        except ValueError as error:
            raise RoadsError(f"The address of the road server cannot be used. {error}") from error
    return StraightLine()


def roads_of_this_machine() -> Extract:
    """The roads last built here (``manage.py roads build``), or the demonstration's. Raises RoadsError."""
    if CURRENT.exists():
        return extract.load(FOLDER / CURRENT.read_text().strip())
    return extract.load(extract.build(SHIPPED, FOLDER))


def use_roads(file: Path) -> Extract:
    """Compile an extract and plan with its roads from now on. Raises RoadsError, changing nothing."""
    compiled = extract.build(file, FOLDER)
    roads = extract.load(compiled)
    CURRENT.write_text(compiled.name + "\n")
    return roads


def for_demonstration(roads: Extract) -> bool:
    """Whether these are the old roads that come with the product."""
    return roads.graph.sha256 == SHIPPED_SHA256


@dataclass(frozen=True)
class FactoredTravel:
    """Travel times of ``inner``, every drive ``factor`` times as long. Metres stay."""

    inner: TravelTimes
    factor: float

    @property
    def source(self) -> str:
        return self.inner.source

    @property
    def version(self) -> str:
        return f"{self.inner.version}×{self.factor:g}"

    @property
    def honesty(self) -> str:
        return f"{self.inner.honesty}; × {self.factor:g}, the firm's factor"

    @property
    def attribution(self) -> str:
        return self.inner.attribution

    def matrix(self, points: Sequence[Point]) -> Travel:
        """Drives between all pairs, the factor said in the notes."""
        travel = self.inner.matrix(points)
        note = f"All driving times × {self.factor:g}, the firm's factor."
        return replace(
            travel, seconds=self._longer(travel.seconds), version=self.version, notes=(*travel.notes, note)
        )

    def rows(self, new: Sequence[Point], points: Sequence[Point]) -> Rows:
        """Drives from and to new points."""
        rows = self.inner.rows(new, points)
        return replace(
            rows, seconds_out=self._longer(rows.seconds_out), seconds_back=self._longer(rows.seconds_back)
        )

    def line(self, start: Point, end: Point) -> list[Point] | None:
        """The course of a drive, as ``inner`` has it."""
        return self.inner.line(start, end)

    def _longer(self, seconds: list[list[int]]) -> list[list[int]]:
        return [
            [value if value == NO_ROAD else round(value * self.factor) for value in row] for row in seconds
        ]
