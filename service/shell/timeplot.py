"""Readings of one parameter over time against the guideline, drawn with ReportLab's chart library.

Several plots over the same days, with a ``Lane`` of what happened above them, are small multiples.
One drawing serves pages (as inline SVG, ``service.shell.inline_svg``) and PDFs (as it is). ReportLab
is used because it is the library that already makes the PDFs, it sets axes and ticks, and the same
input gives the same bytes. Colours are roles, not colours: ``inline_svg`` turns them into classes, so
that a page can be light, dark or printed.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from reportlab.graphics.charts.axes import XValueAxis, YValueAxis
from reportlab.graphics.charts.lineplots import LinePlot
from reportlab.graphics.shapes import Drawing, Group, Line, Rect
from reportlab.graphics.widgets.markers import makeMarker
from reportlab.lib.colors import Color, HexColor

from service.shell.bandline import Number, judge, limits_phrase

INK = HexColor(0x1B1A1F)
SOFT = HexColor(0x47454D)
RULE = HexColor(0xCFCBC0)
BAND = HexColor(0xE6E2D8)
PLUM = HexColor(0x6B1F52)
PAPER = HexColor(0xFBFAF6)
# Of every drawing over time, so that one stands exactly below the other, [pt].
WIDTH, LEFT, RIGHT, SIZE = 360, 46, 10, 15

_STEPS_DAYS = (1, 2, 3, 7, 14, 28, 61, 91, 182, 365, 730)
_MOST_TICKS = 5
# More readings than this run into each other on a phone: those inside the guideline become the line alone.
_MOST_MARKS = 90
# Of the readings in one slice of a long axis, the lowest and the highest are drawn.
_SLICES = 120


@dataclass(frozen=True)
class Point:
    """One reading. ``at`` is aware; ``hollow``: somebody else's, brought in from a list."""

    at: datetime
    value: Number
    hollow: bool = False


@dataclass(frozen=True)
class Event:
    """Something that explains the readings, as "Closed". ``until``: it went on until then."""

    at: datetime
    word: str
    until: datetime | None = None


@dataclass(frozen=True)
class TimePlot:
    """What to draw. Plots with the same ``start`` and ``end`` stand over one time axis.

    points    In any order; aware times.
    low/high  The guideline's limits in force, either may be None.
    zone      Time zone of the axis.
    rules     Times at which an upright rule crosses the plot; a lane above says what they are.
    """

    name: str
    unit: str
    points: Sequence[Point]
    start: datetime
    end: datetime
    zone: str
    low: Number | None = None
    high: Number | None = None
    rules: Sequence[datetime] = ()

    def __post_init__(self) -> None:
        if not self.start < self.end:
            raise ValueError("a plot needs an end after its start")

    def in_order(self) -> list[Point]:
        """Points within the axis, oldest first."""
        return sorted((p for p in self.points if self.start <= p.at <= self.end), key=lambda p: p.at)

    def in_words(self) -> str:
        """What the picture shows, for somebody who does not see it.

        >>> from datetime import UTC
        >>> day = datetime(2026, 3, 3, tzinfo=UTC)
        >>> TimePlot("pH", "", [Point(day, Decimal("7.9"))], day, day + timedelta(days=7), "UTC",
        ...          low=Decimal("7.2"), high=Decimal("7.8")).in_words()
        'pH over time: 1 reading from 7.9 to 7.9; 1 outside the guideline of 7.2 to 7.8.'
        """
        points = self.in_order()
        if not points:
            return f"{self.name} over time: no readings."
        values = [p.value for p in points]
        after = f" {self.unit}" if self.unit else ""
        count = f"{len(points)} reading{'s' if len(points) != 1 else ''}"
        words = f"{self.name} over time: {count} from {min(values)} to {max(values)}{after}"
        if not (limits := limits_phrase(self.low, self.high, self.unit)):
            return f"{words}."
        return f"{words}; {sum(_outside(self, p) for p in points)} outside the guideline of {limits}."


def draw(plot: TimePlot, *, width: int = WIDTH, height: int = 132, font: str = "Helvetica") -> Drawing:
    """The plot as a ReportLab drawing, [pt]. A page shows it at about 1 px a point.

    ``font`` is used for measuring and in PDFs; pages set their own.
    """
    drawing = Drawing(width, height)
    chart = LinePlot()
    chart.x, chart.y = LEFT, 26
    chart.width, chart.height = width - LEFT - RIGHT, height - 26 - 10
    chart.joinedLines = 1
    chart.xValueAxis = time_axis(plot.start, plot.end, plot.zone, font)
    chart.yValueAxis = _value_axis(plot, font)
    points = plot.in_order()
    drawn = _thinned(plot, points)
    chart.data = [[(p.at.timestamp(), float(p.value)) for p in drawn] or [(plot.start.timestamp(), 0.0)]]
    chart.lines[0].strokeColor = INK if points else None
    chart.lines[0].strokeWidth = 1.25
    chart.lines[0].symbol = None
    # The axes know their scale only once the chart is drawn; what stands behind and on it asks them.
    chart.draw()
    if (band := _band(plot, chart)) is not None:
        drawing.add(band)
    for at in plot.rules:
        drawing.add(upright(chart.xValueAxis.scale(at.timestamp()), chart.y, chart.y + chart.height))
    drawing.add(chart)
    for point in drawn:
        if len(drawn) <= _MOST_MARKS or point.hollow or _outside(plot, point):
            drawing.add(_mark(plot, point, chart, small=len(drawn) > _MOST_MARKS))
    return drawing


def upright(x: float, bottom: float, top: float) -> Line:
    """A dashed rule across a plot or a lane where something happened."""
    rule = Line(x, bottom, x, top, strokeColor=SOFT, strokeWidth=0.75)
    rule.strokeDashArray = [3, 2]
    return rule


def _thinned(plot: TimePlot, points: Sequence[Point]) -> list[Point]:
    """All points, or of many the lowest and the highest of each slice of the axis: peaks stay."""
    if len(points) <= _MOST_MARKS:
        return list(points)
    slices: dict[int, list[Point]] = {}
    for point in points:
        slices.setdefault(int((point.at - plot.start) / (plot.end - plot.start) * _SLICES), []).append(point)
    kept: list[Point] = []
    for piece in slices.values():
        ends = {min(piece, key=_value), max(piece, key=_value)}
        kept += [point for point in piece if point in ends]
    return kept


def _value(point: Point) -> Number:
    return point.value


def _outside(plot: TimePlot, point: Point) -> bool:
    return judge(point.value, plot.low, plot.high) in {"above", "below"}


def time_axis(start: datetime, end: datetime, zone: str, font: str) -> XValueAxis:
    """The axis that all drawings over the same days share."""
    axis = XValueAxis()
    axis.valueMin, axis.valueMax = start.timestamp(), end.timestamp()
    ticks = _midnights(start, end, zone)
    years = len({tick.year for tick in ticks}) > 1 or end - start > timedelta(days=366)
    axis.valueSteps = [tick.timestamp() for tick in ticks] or [axis.valueMin]
    axis.labelTextFormat = [_tick(tick, years=years) for tick in ticks] or [""]
    axis.strokeColor, axis.strokeWidth, axis.tickDown = INK, 0.75, 4
    axis.labels.fontName, axis.labels.fontSize, axis.labels.fillColor = font, SIZE, SOFT
    axis.labels.dy = -2
    return axis


def _tick(tick: datetime, *, years: bool) -> str:
    return f"{tick:%b %Y}" if years else f"{tick.day} {tick:%b}"


def _midnights(start: datetime, end: datetime, zone: str) -> list[datetime]:
    """Midnights to label: at most five, whole steps of days apart, none so late that its label is cut."""
    here = ZoneInfo(zone)
    start, end = start.astimezone(here), end.astimezone(here)
    days = (end - start) / timedelta(days=1)
    step = next((step for step in _STEPS_DAYS if days / step <= _MOST_TICKS), math.ceil(days / _MOST_TICKS))
    first = datetime(start.year, start.month, start.day, tzinfo=here)
    if first < start:
        first += timedelta(days=1)
    ticks = [first + timedelta(days=step * number) for number in range(_MOST_TICKS + 1)]
    return [tick for tick in ticks if tick <= end - (end - start) * 0.06]


def _value_axis(plot: TimePlot, font: str) -> YValueAxis:
    axis = YValueAxis()
    shown = [float(p.value) for p in plot.in_order()]
    shown += [float(limit) for limit in (plot.low, plot.high) if limit is not None]
    bottom, top = (min(shown), max(shown)) if shown else (0.0, 1.0)
    room = (top - bottom) * 0.12 or 1.0
    axis.valueMin = bottom - room if bottom - room > 0 or bottom < 0 else 0.0
    axis.valueMax = top + room
    axis.maximumTicks = 5
    axis.minimumTickSpacing = 24
    axis.labelTextFormat = lambda value: f"{Decimal(str(round(value, 6))).normalize():f}"
    axis.strokeColor, axis.strokeWidth, axis.tickLeft = INK, 0.75, 4
    axis.labels.fontName, axis.labels.fontSize, axis.labels.fillColor = font, SIZE, SOFT
    return axis


def _band(plot: TimePlot, chart: LinePlot) -> Group | None:
    """The guideline's range: a tone, and a rule at each limit, so that it survives black ink."""
    if plot.low is None and plot.high is None:
        return None
    bottom = chart.y if plot.low is None else chart.yValueAxis.scale(float(plot.low))
    top = chart.y + chart.height if plot.high is None else chart.yValueAxis.scale(float(plot.high))
    right = chart.x + chart.width
    tone = Rect(chart.x, bottom, chart.width, top - bottom, fillColor=BAND, strokeColor=None, strokeWidth=0)
    group = Group(tone)
    for limit, level in ((plot.low, bottom), (plot.high, top)):
        if limit is not None:
            rule = Line(chart.x, level, right, level, strokeColor=SOFT, strokeWidth=0.75)
            group.add(rule)
    return group


def _mark(plot: TimePlot, point: Point, chart: LinePlot, *, small: bool) -> Group:
    """A square outside the guideline, a circle inside; hollow from a list: told apart without colour."""
    outside = _outside(plot, point)
    mark = makeMarker("FilledSquare" if outside else "FilledCircle")
    mark.x = chart.xValueAxis.scale(point.at.timestamp())
    mark.y = chart.yValueAxis.scale(float(point.value))
    mark.size = (7 if outside else 5) - 2 * small
    mark.fillColor = PAPER if point.hollow else INK
    mark.strokeColor, mark.strokeWidth = INK, 1.25
    return Group(mark)


ROLES: dict[str, Color] = {"ink": INK, "soft": SOFT, "rule": RULE, "band": BAND, "plum": PLUM, "paper": PAPER}
