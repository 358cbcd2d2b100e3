"""The band line on paper: the same positions as on a page, in black ink."""

from reportlab.lib.colors import white
from reportlab.platypus import Flowable

from reports.paper.page import INK, SOFT, TONE
from reports.paper.tagging import Element
from service.shell.bandline import BandLine, Mark

HEIGHT = 20.0
_MIDDLE = 9.0


class BandPicture(Flowable):
    """One band line, ``width`` points long. The words stand beside it, in the table."""

    def __init__(self, line: BandLine, width: float) -> None:
        super().__init__()
        self.line, self.width, self.height = line, width, HEIGHT

    def draw(self) -> None:
        says = ". ".join([self.line.words, *self.line.also])
        with self.canv.tagged(Element("Figure", says)):
            self._draw_range()
            self._draw_last()
            self._draw_value()
            self._draw_expected()

    def _draw_range(self) -> None:
        self._rule(0, 1, 0.6, SOFT)
        if self.line.band:
            self._rule(*self.line.band, 3.2, TONE)
        if self.line.ideal:
            self._rule(*self.line.ideal, 7, TONE)

    def _draw_last(self) -> None:
        if self.line.last is None:
            return
        self.canv.setStrokeColor(INK)
        self.canv.setFillColor(white)
        self.canv.setLineWidth(0.8)
        self.canv.rect(self._x(self.line.last) - 1.6, _MIDDLE - 4.5, 3.2, 9, stroke=1, fill=1)

    def _draw_value(self) -> None:
        if self.line.value is None:
            return
        x = self._x(self.line.value)
        for colour, weight in ((white, 4.2), (INK, 2.1)):
            self.canv.setStrokeColor(colour)
            self.canv.setLineWidth(weight)
            self.canv.line(x, _MIDDLE - 6.5, x, _MIDDLE + 6.5)
        self._draw_beyond(self.line.value)
        if self.line.whisker:
            self._draw_whisker(*self.line.whisker)

    def _draw_beyond(self, value: Mark) -> None:
        """A reading off the end of the line points on."""
        if not value.beyond:
            return
        x, way = self._x(value), value.beyond
        arrow = self.canv.beginPath()
        arrow.moveTo(x + way * 2, _MIDDLE - 3)
        arrow.lineTo(x + way * 6, _MIDDLE)
        arrow.lineTo(x + way * 2, _MIDDLE + 3)
        self.canv.setFillColor(INK)
        self.canv.drawPath(arrow, stroke=0, fill=1)

    def _draw_whisker(self, start: float, end: float) -> None:
        level = _MIDDLE + 8.5
        self.canv.setStrokeColor(INK)
        self.canv.setLineWidth(0.6)
        self.canv.line(start * self.width, level, end * self.width, level)
        for at in (start, end):
            self.canv.line(at * self.width, level - 1.6, at * self.width, level + 1.6)

    def _draw_expected(self) -> None:
        if self.line.expected is None:
            return
        x = self._x(self.line.expected)
        self.canv.setStrokeColor(INK)
        self.canv.setLineWidth(1)
        self.canv.line(x, 0, x, _MIDDLE - 4)
        self.canv.line(x - 2.5, _MIDDLE - 6.5, x, _MIDDLE - 4)
        self.canv.line(x + 2.5, _MIDDLE - 6.5, x, _MIDDLE - 4)

    def _rule(self, start: float, end: float, weight: float, colour: object) -> None:
        self.canv.setStrokeColor(colour)
        self.canv.setLineWidth(weight)
        self.canv.line(start * self.width, _MIDDLE, end * self.width, _MIDDLE)

    def _x(self, mark: Mark) -> float:
        return mark.at * self.width
