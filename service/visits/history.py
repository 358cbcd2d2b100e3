"""A spa's water over time: what was read and what happened, as plots over one axis and as one table."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple
from uuid import UUID

from service.chemistry.guidelines import Band
from service.shell.bandline import judge
from service.shell.lane import Lane
from service.shell.timeplot import Point, TimePlot
from service.sites.models import Spa
from service.visits.bands import COMBINED, bands_of, short
from service.visits.happened import MOST_EVENTS, Happening, happenings, lane_rows
from service.visits.imported import MARK, MOST_SHOWN, imported_readings
from service.visits.models import ImportedReading, Moment, Reading, VisitState
from service.visits.parameters import BY_PARAMETER, TESTS

FEWEST_DAYS = 14
USUAL_DAYS = 90
# Before any visit that was written down.
_EVER = 365 * 60
# Of one page, the newest; thrice a week for five years with seven tests each.
MOST_READINGS = 6000
MOST_ROWS = 100
FREE, TOTAL = "free_chlorine_mg_l", "total_chlorine_mg_l"
# Total chlorine is told by what it holds beyond the free.
# Name and unit of what is drawn, in the order of the work.
NAMES: Mapping[str, tuple[str, str]] = {
    **{test.parameter: (test.label, test.unit) for test in TESTS[:1]},
    COMBINED: ("Combined chlorine", "mg/L"),
    **{test.parameter: (test.label, test.unit) for test in TESTS[1:] if test.parameter != TOTAL},
}


@dataclass(frozen=True)
class Range:
    """A choice of days, as the address says it; ``days`` is None for everything."""

    key: str
    words: str
    days: int | None


RANGES = (
    Range("30", "30 days", 30),
    Range("90", "90 days", USUAL_DAYS),
    Range("365", "365 days", 365),
    Range("all", "everything", None),
)


def range_asked(key: str) -> Range:
    """The range of an address; 90 days when it names none or one that is not offered."""
    usual = next(one for one in RANGES if one.days == USUAL_DAYS)
    return next((one for one in RANGES if one.key == key), usual)


class _Read(NamedTuple):
    """One reading, whoever took it. Those of one ``occasion`` share a row of the table."""

    parameter: str
    value: Decimal
    bound: str
    at: datetime
    occasion: tuple[Any, ...]
    words: str
    record: UUID | None
    hollow: bool


@dataclass(frozen=True)
class Cell:
    """A figure of the table; ``standing``: "above", "below", "within" or "" without a guideline."""

    name: str
    figure: str
    standing: str

    @property
    def is_outside(self) -> bool:
        return self.standing in {"above", "below"}


@dataclass
class Row:
    """Tests made together, or one thing that happened, which has words and no cells."""

    at: datetime
    words: str
    record: UUID | None = None
    cells: list[Cell] = field(default_factory=list)


@dataclass(frozen=True)
class WaterHistory:
    """What the pages draw.

    days      That the axis spans. rows: newest first, of ``rows_in_all``.
    is_cut    There was more than is read for one page: the oldest is missing.
    """

    asked: Range
    days: int
    plots: Sequence[TimePlot]
    lane: Lane
    rows: Sequence[Row]
    rows_in_all: int
    is_cut: bool
    zone: str

    @property
    def ranges(self) -> tuple[Range, ...]:
        return RANGES

    @property
    def rows_left_out(self) -> int:
        return self.rows_in_all - len(self.rows)

    @property
    def has_imported(self) -> bool:
        return any(point.hollow for plot in self.plots for point in plot.points)


def water_history(spa: Spa, *, asked: Range, now: datetime, signed_only: bool) -> WaterHistory:
    """The spa's readings and what happened over the days asked for; three queries, bounded.

    signed_only  Leave out readings of visits that nobody signed.

    Needs ``site.client`` and ``organisation`` loaded with the spa.
    """
    since = now - timedelta(days=asked.days or _EVER)
    ours = _readings(spa, since, signed_only=signed_only)
    imported = imported_readings(spa, since=since, parameters=BY_PARAMETER)
    former = [_former(one) for readings in imported.values() for one in readings]
    read = _drawn([*ours, *former], until=now)
    found = happenings(spa, since=since, until=now)
    start = _axis_start(read, found, asked, now)
    limits, zone = bands_of(spa), spa.organisation.time_zone
    plots = [
        _plot(name, points, limits.get(name), found, start, now, zone) for name, points in _by_name(read)
    ]
    rows = _rows(read, found, limits)
    return WaterHistory(
        asked=asked,
        days=round((now - start) / timedelta(days=1)),
        plots=plots,
        lane=Lane(lane_rows(found), start, now, zone),
        rows=rows[:MOST_ROWS],
        rows_in_all=len(rows),
        is_cut=len(ours) >= MOST_READINGS or len(former) >= MOST_SHOWN or len(found) >= MOST_EVENTS,
        zone=zone,
    )


def _readings(spa: Spa, since: datetime, *, signed_only: bool) -> list[_Read]:
    """What our own tests read: of each moment of a visit the reading that is judged."""
    rows = Reading.objects.filter(visit__spa=spa, governs=True, taken_at__gte=since)
    if signed_only:
        rows = rows.filter(visit__state=VisitState.SIGNED)
    values = rows.order_by("-taken_at", "-pk").values_list(
        "parameter", "value", "bound", "taken_at", "visit_id", "moment", "visit__state", "visit__record__pk"
    )
    return [
        _Read(
            parameter, value, bound, at, (visit, moment), _moment_words(moment, state), record, hollow=False
        )
        for parameter, value, bound, at, visit, moment, state, record in values[:MOST_READINGS]
    ]


def _moment_words(moment: str, state: str) -> str:
    words = Moment(moment).label
    return words if state == VisitState.SIGNED else f"{words}, not signed"


def _former(one: ImportedReading) -> _Read:
    return _Read(one.parameter, one.value, one.bound, one.taken_at, (one.taken_at,), MARK, None, hollow=True)


def _drawn(read: Sequence[_Read], *, until: datetime) -> list[_Read]:
    """What the page shows of all that was read, oldest first."""
    shown = [one for one in [*read, *_combined(read)] if one.parameter in NAMES and one.at <= until]
    return sorted(shown, key=_moment)


def _combined(read: Iterable[_Read]) -> list[_Read]:
    """Total less free chlorine of one moment of a visit, where both were read to the end."""
    moments: dict[tuple[Any, ...], dict[str, _Read]] = {}
    for one in read:
        if one.parameter in (FREE, TOTAL) and not one.bound:
            moments.setdefault(one.occasion, {})[one.parameter] = one
    both = [found for found in moments.values() if len(found) == 2]
    return [
        found[TOTAL]._replace(parameter=COMBINED, value=found[TOTAL].value - found[FREE].value)
        for found in both
        if found[TOTAL].value >= found[FREE].value
    ]


def _axis_start(read: Sequence[_Read], found: Sequence[Happening], asked: Range, now: datetime) -> datetime:
    """Where the time axis begins: a day before the first reading, at least 14 days back, at most as asked."""
    first = min([now, *(one.at for one in read[:1]), *(one.at for one in found[:1])])
    days = max(math.ceil((now - first) / timedelta(days=1)) + 1, FEWEST_DAYS)
    return now - timedelta(days=min(days, asked.days or days))


def _by_name(read: Iterable[_Read]) -> list[tuple[str, list[_Read]]]:
    """Readings by parameter, in the order of the work."""
    found: dict[str, list[_Read]] = {}
    for one in read:
        found.setdefault(one.parameter, []).append(one)
    return [(name, found[name]) for name in NAMES if name in found]


def _plot(
    name: str,
    read: Iterable[_Read],
    limits: Band | None,
    found: Iterable[Happening],
    start: datetime,
    end: datetime,
    zone: str,
) -> TimePlot:
    label, unit = NAMES[name]
    return TimePlot(
        name=label,
        unit=unit,
        points=[Point(one.at, short(one.value), hollow=one.hollow) for one in read],
        start=start,
        end=end,
        zone=zone,
        low=limits.low if limits else None,
        high=limits.high if limits else None,
        rules=[one.at for one in found if one.crosses],
    )


def _rows(read: Sequence[_Read], found: Iterable[Happening], limits: Mapping[str, Band]) -> list[Row]:
    """The table: what was read together in one row, what happened in rows between, newest first."""
    occasions: dict[tuple[Any, ...], list[_Read]] = {}
    for one in read:
        occasions.setdefault(one.occasion, []).append(one)
    records = {one.occasion[0]: one.record for one in read if not one.hollow}
    names = [name for name, _ in _by_name(read)]
    rows = [_tests(together, names, limits) for together in occasions.values()]
    rows += [Row(one.at, one.words, records.get(one.visit)) for one in found]
    return sorted(rows, key=_row_moment, reverse=True)


def _tests(together: Sequence[_Read], names: Iterable[str], limits: Mapping[str, Band]) -> Row:
    by_name = {one.parameter: one for one in together}
    cells = [_cell(name, by_name.get(name), limits.get(name)) for name in names]
    return Row(together[-1].at, together[-1].words, together[-1].record, cells)


def _cell(name: str, one: _Read | None, limits: Band | None) -> Cell:
    if one is None:
        return Cell(NAMES[name][0], "", "")
    value = short(one.value)
    standing = judge(value, limits.low, limits.high) if limits else ""
    return Cell(NAMES[name][0], f"{one.bound}{value}", standing)


def _moment(one: _Read) -> datetime:
    return one.at


def _row_moment(row: Row) -> datetime:
    return row.at
