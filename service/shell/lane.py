"""What happened over time, a row for each kind, above plots of the same days."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from reportlab.graphics.shapes import Drawing, Group, Line, String
from reportlab.graphics.widgets.markers import makeMarker

from service.shell.clock import local_day
from service.shell.timeplot import INK, LEFT, RIGHT, RULE, SIZE, SOFT, WIDTH, Event

_ROW = 34
_MOST_NAMED = 6


@dataclass(frozen=True)
class Lane:
    """Events by what stands above their row, within one time axis. A kind without events has no row."""

    rows: Mapping[str, Sequence[Event]]
    start: datetime
    end: datetime
    zone: str

    def in_words(self) -> str:
        """What the picture shows, for somebody who does not see it.

        >>> from datetime import UTC, timedelta
        >>> day = datetime(2026, 3, 3, tzinfo=UTC)
        >>> closed = Event(day, "Closed", until=day + timedelta(days=2))
        >>> Lane({"Closed": [closed]}, day, day, "UTC").in_words()
        'Closed: Tue 3 Mar 2026 to Thu 5 Mar 2026.'
        """
        return " ".join(self._row_in_words(name, events) for name, events in self.rows.items())

    def _row_in_words(self, name: str, events: Sequence[Event]) -> str:
        days = [self._days(event) for event in events[-_MOST_NAMED:]]
        earlier = len(events) - len(days)
        return f"{name}: {', '.join(days)}{f', and {earlier} times before' if earlier else ''}."

    def _days(self, event: Event) -> str:
        first = local_day(event.at, self.zone)
        last = local_day(event.until, self.zone) if event.until else first
        return first if first == last else f"{first} to {last}"


def draw_lane(lane: Lane, *, font: str = "Helvetica") -> Drawing:
    """The lane as a ReportLab drawing, [pt], as wide as a plot and over the same days."""
    height = _ROW * len(lane.rows) + 2
    drawing = Drawing(WIDTH, height)
    for number, (name, events) in enumerate(lane.rows.items(), start=1):
        level = height - _ROW * number + 8
        word = String(0, level + 10, name)
        word.fontName, word.fontSize, word.fillColor = font, SIZE, SOFT
        drawing.add(word)
        drawing.add(Line(LEFT, level, WIDTH - RIGHT, level, strokeColor=RULE, strokeWidth=0.75))
        for event in events:
            drawing.add(_mark(lane, event, level))
    return drawing


def _mark(lane: Lane, event: Event, level: float) -> Group:
    """A diamond when it happened, and a thick rule for as long as it went on."""
    group, x = Group(), _place(lane, event.at)
    if event.until is not None:
        last = max(_place(lane, min(event.until, lane.end)), x + 2)
        group.add(Line(x, level, last, level, strokeColor=INK, strokeWidth=4))
    mark = makeMarker("FilledDiamond")
    mark.x, mark.y, mark.size = x, level, 8
    mark.fillColor, mark.strokeColor, mark.strokeWidth = INK, INK, 1
    group.add(Group(mark))
    return group


def _place(lane: Lane, at: datetime) -> float:
    return LEFT + (at - lane.start) / (lane.end - lane.start) * (WIDTH - LEFT - RIGHT)
