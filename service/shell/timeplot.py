"""Readings of one parameter over time against the guideline, drawn with ReportLab's chart library.

One drawing serves pages (as inline SVG, ``service.shell.inline_svg``) and PDFs (as it is). ReportLab
is used because it is the library that already makes the PDFs, it sets axes and ticks, and the same
input gives the same bytes. Colours are roles, not colours: ``inline_svg`` turns them into classes, so
that a page can be light, dark or printed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from reportlab.graphics.charts.axes import XValueAxis, YValueAxis
from reportlab.graphics.charts.lineplots import LinePlot
from reportlab.graphics.shapes import Drawing, Group, Line, Rect, String
from reportlab.graphics.widgets.markers import makeMarker
from reportlab.lib.colors import Color, HexColor

from service.shell.bandline import Number, judge, limits_phrase

INK = HexColor(0x1B1A1F)
SOFT = HexColor(0x47454D)
RULE = HexColor(0xCFCBC0)
BAND = HexColor(0xE6E2D8)
PLUM = HexColor(0x6B1F52)
PAPER = HexColor(0xFBFAF6)

_STEPS_DAYS = (1, 2, 3, 7, 14, 28, 61, 91, 182, 365, 730)
_MOST_TICKS = 5


@dataclass(frozen=True)
class Point:
    """One reading. ``at`` is aware; ``note`` is what the table says beside it ("after dosing")."""

    at: datetime
    value: Number
    note: str = ""


@dataclass(frozen=True)
class Event:
    """Something that explains the readings: "drained", "closed"."""

    at: datetime
    word: str


@dataclass(frozen=True)
class TimePlot:
    """What to draw. Plots with the same ``start`` and ``end`` stand over one time axis.

    points    In any order; aware times.
    low/high  The guideline's limits in force, either may be None.
    zone      Time zone of the axis and the table.
    """

    name: str
    unit: str
    points: Sequence[Point]
    start: datetime
    end: datetime
    zone: str
    low: Number | None = None
    high: Number | None = None
    events: Sequence[Event] = ()

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


def draw(plot: TimePlot, *, width: int = 360, height: int = 170, font: str = "Helvetica") -> Drawing:
    """The plot as a ReportLab drawing, [pt]. A page shows it at about 1 px a point.

    ``font`` is used for measuring and in PDFs; pages set their own.
    """
    size = 15
    drawing = Drawing(width, height)
    chart = LinePlot()
    chart.x, chart.y = 46, 26
    # The words of events stand above the plot, where no reading can lie under them.
    chart.width, chart.height = width - 46 - 10, height - 26 - (22 if plot.events else 10)
    chart.joinedLines = 1
    chart.xValueAxis = _time_axis(plot, font, size)
    chart.yValueAxis = _value_axis(plot, font, size)
    points = plot.in_order()
    chart.data = [[(p.at.timestamp(), float(p.value)) for p in points] or [(plot.start.timestamp(), 0.0)]]
    chart.lines[0].strokeColor = INK if points else None
    chart.lines[0].strokeWidth = 1.25
    chart.lines[0].symbol = None
    # The axes know their scale only once the chart is drawn; what stands behind and on it asks them.
    chart.draw()
    if (band := _band(plot, chart)) is not None:
        drawing.add(band)
    for event in plot.events:
        drawing.add(_event(event, chart, font, size))
    drawing.add(chart)
    for point in points:
        drawing.add(_mark(plot, point, chart))
    return drawing


def _outside(plot: TimePlot, point: Point) -> bool:
    return judge(point.value, plot.low, plot.high) in {"above", "below"}


def _time_axis(plot: TimePlot, font: str, size: int) -> XValueAxis:
    axis = XValueAxis()
    axis.valueMin, axis.valueMax = plot.start.timestamp(), plot.end.timestamp()
    ticks = _midnights(plot)
    axis.valueSteps = [tick.timestamp() for tick in ticks] or [axis.valueMin]
    axis.labelTextFormat = [f"{tick.day} {tick:%b}" for tick in ticks] or [""]
    axis.strokeColor, axis.strokeWidth, axis.tickDown = INK, 0.75, 4
    axis.labels.fontName, axis.labels.fontSize, axis.labels.fillColor = font, size, SOFT
    axis.labels.dy = -2
    return axis


def _midnights(plot: TimePlot) -> list[datetime]:
    """Midnights to label: at most five, whole steps of days apart, none so late that its label is cut."""
    zone = ZoneInfo(plot.zone)
    start, end = plot.start.astimezone(zone), plot.end.astimezone(zone)
    days = (end - start) / timedelta(days=1)
    step = next((step for step in _STEPS_DAYS if days / step <= _MOST_TICKS), _STEPS_DAYS[-1])
    first = datetime(start.year, start.month, start.day, tzinfo=zone)
    if first < start:
        first += timedelta(days=1)
    ticks = [first + timedelta(days=step * number) for number in range(_MOST_TICKS + 1)]
    return [tick for tick in ticks if tick <= end - (end - start) * 0.06]


def _value_axis(plot: TimePlot, font: str, size: int) -> YValueAxis:
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
    axis.labels.fontName, axis.labels.fontSize, axis.labels.fillColor = font, size, SOFT
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


def _event(event: Event, chart: LinePlot, font: str, size: int) -> Group:
    """A dashed upright rule with its word at the top, turned inward near the right edge."""
    x = chart.xValueAxis.scale(event.at.timestamp())
    late = x > chart.x + chart.width * 0.7
    rule = Line(x, chart.y, x, chart.y + chart.height + size, strokeColor=SOFT, strokeWidth=0.75)
    rule.strokeDashArray = [3, 2]
    word = String(x + (-3 if late else 3), chart.y + chart.height + 4, event.word)
    word.textAnchor = "end" if late else "start"
    word.fontName, word.fontSize, word.fillColor = font, size - 2, SOFT
    return Group(rule, word)


def _mark(plot: TimePlot, point: Point, chart: LinePlot) -> Group:
    """A filled square outside the guideline, an open circle inside: told apart without colour."""
    outside = _outside(plot, point)
    mark = makeMarker("FilledSquare" if outside else "FilledCircle")
    mark.x = chart.xValueAxis.scale(point.at.timestamp())
    mark.y = chart.yValueAxis.scale(float(point.value))
    mark.size = 8 if outside else 6
    mark.fillColor = INK if outside else PAPER
    mark.strokeColor, mark.strokeWidth = INK, 1.25
    return Group(mark)


ROLES: dict[str, Color] = {"ink": INK, "soft": SOFT, "rule": RULE, "band": BAND, "plum": PLUM, "paper": PAPER}
