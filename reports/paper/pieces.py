"""What stories are made of: words, headings, facts, tables, pictures. Each tags itself."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from typing import Any, TypeAlias
from xml.sax.saxutils import escape

from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.platypus import CondPageBreak, Flowable, Paragraph, Spacer, Table

from reports.paper.page import INK, RULE, SANS, SEMIBOLD, SOFT, use_fonts
from reports.paper.tagging import Element, TableTags

# Text, or a flowable, or several: ReportLab's own classes have no types.
Cell: TypeAlias = str | Any


@lru_cache(maxsize=1)
def styles() -> dict[str, ParagraphStyle]:
    """Every style by name. Sizes in points."""
    use_fonts()

    def style(name: str, size: float, leading: float, **more: Any) -> ParagraphStyle:
        more = {"fontName": SANS, "textColor": INK, **more}
        return ParagraphStyle(name, fontSize=size, leading=leading, **more)

    every = [
        style("body", 10, 13.5, spaceAfter=3),
        style("lead", 11.5, 15, spaceAfter=3),
        style("soft", 9, 12, textColor=SOFT, spaceAfter=2),
        style("cell", 9, 11.5),
        style("cell strong", 9, 11.5, fontName=SEMIBOLD),
        style("cell soft", 8.25, 10.5, textColor=SOFT),
        style("digest", 6.5, 9, textColor=SOFT),
        style("cell head", 8.25, 10.5, fontName=SEMIBOLD, textColor=SOFT),
        style("figure", 10.5, 12.5, fontName=SEMIBOLD),
        style("title", 20, 24, fontName=SEMIBOLD),
        style("section", 13, 16, fontName=SEMIBOLD, spaceBefore=12, spaceAfter=4),
        style("state", 26, 31, fontName=SEMIBOLD, spaceAfter=2),
        style("shout", 80, 84, fontName=SEMIBOLD, spaceAfter=8),
        style("huge", 22, 28, spaceAfter=8),
        style("huge strong", 28, 34, fontName=SEMIBOLD, spaceAfter=10),
        style("large", 16, 21, spaceAfter=6),
        style("large strong", 20, 25, fontName=SEMIBOLD, spaceAfter=8),
    ]
    return {each.name: each for each in every}


class Words(Paragraph):
    """A tagged paragraph. Split over two pages it stays one."""

    element: Element

    def draw(self) -> None:
        with self.canv.tagged(self.element):
            super().draw()

    def split(self, width: float, height: float) -> list["Words"]:
        parts: list[Words] = super().split(width, height)
        for part in parts:
            part.element = self.element
        return parts


def words(text: str, style: str = "body", *, tag: str = "P", markup: bool = False) -> Words:
    """A paragraph of plain text; line ends are kept. markup: ``text`` is ReportLab's own and safe."""
    safe = text if markup else escape(text).replace("\n", "<br/>")
    paragraph = Words(safe, styles()[style])
    paragraph.element = Element(tag)
    return paragraph


def strong(label: str, text: str, style: str = "body") -> Words:
    """A paragraph that begins with a strong label."""
    return words(f"<b>{escape(label)}</b> {escape(text)}", style, markup=True)


class _Bookmark(Flowable):
    """Puts a heading into the outline."""

    width = height = 0
    _ZEROSIZE = 1

    def __init__(self, title: str) -> None:
        super().__init__()
        self.title = title

    def draw(self) -> None:
        key = f"section {len(self.canv._destinations)}"
        self.canv.bookmarkHorizontal(key, 0, 18)
        self.canv.addOutlineEntry(self.title, key, level=0)


def section(title: str, *content: Flowable, width: float) -> list[Flowable]:
    """A section: its heading with a bookmark, and what follows. The heading never stands alone.

    width  Of the text, [pt].
    """
    heading = words(title, "section", tag="H2")
    room = 36 + _opening_height(content, width)
    return [CondPageBreak(room), _Bookmark(title), heading, *content]


def _opening_height(content: Sequence[Flowable], width: float) -> float:
    """How much of a section must stand on the page of its heading, [pt]: up to its first row or picture."""
    height = 0.0
    for each in content:
        _, tall = each.wrap(width, 10_000)
        if isinstance(each, Table):
            # The head, a heading row across, and the first row.
            return float(height + sum(each._rowHeights[: each.repeatRows + 2]))
        height += min(tall, 40) if isinstance(each, Words) else tall
        if height > 60:
            break
    return height


def title(text: str) -> list[Flowable]:
    return [_Bookmark(text), words(text, "title", tag="H1")]


def gap(millimetres: float) -> Spacer:
    return Spacer(0, millimetres * mm)


class Rule(Flowable):
    """A rule across the text."""

    def __init__(self, weight: float = 0.5, after_mm: float = 2) -> None:
        super().__init__()
        self.weight, self.after = weight, after_mm * mm

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        self.width = width
        return width, self.after

    def draw(self) -> None:
        self.canv.setStrokeColor(INK if self.weight > 1 else RULE)
        self.canv.setLineWidth(self.weight)
        self.canv.line(0, self.after, self.width, self.after)


@dataclass(frozen=True)
class Across:
    """A row of one cell that runs across the whole table. heading: stays with the row after it."""

    content: Sequence[Flowable]
    heading: bool = False


def table(head: Sequence[str], rows: Sequence[Sequence[Cell] | Across], widths: Sequence[float]) -> Table:
    """A table with a head that is repeated on each page, and a thin rule under each row.

    widths  Of the columns, [pt].
    """
    heads: list[list[Any]] = [[words(text, "cell head") for text in head]] if head else []
    body = [_row(row, len(widths)) for row in rows]
    look: list[tuple[Any, ...]] = [
        ("FONT", (0, 0), (-1, -1), SANS, 9),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 5),
        ("TOPPADDING", (0, 0), (-1, -1), 3),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE),
    ]
    if heads:
        look.append(("LINEBELOW", (0, 0), (-1, 0), 0.8, INK))
    for place, row in enumerate(rows, start=len(heads)):
        if isinstance(row, Across):
            look.append(("SPAN", (0, place), (-1, place)))
            if row.heading:
                look.append(("NOSPLIT", (0, place), (0, place + 1)))
    return Table(
        heads + body,
        colWidths=list(widths),
        repeatRows=len(heads),
        style=look,
        hAlign="LEFT",
        renderCB=TableTags(header_rows=len(heads)),
    )


def _row(row: Sequence[Cell] | Across, columns: int) -> list[Any]:
    if isinstance(row, Across):
        return [list(row.content), *[""] * (columns - 1)]
    return [_cell(cell) for cell in row]


def facts(pairs: Sequence[tuple[str, str]], width: float, *, columns: int = 2) -> Table:
    """Names and what they are, in columns; pairs without a value are left out."""
    cells = [[words(name, "cell soft"), words(value, "cell")] for name, value in pairs if value]
    rows = [cells[start : start + columns] for start in range(0, len(cells), columns)]
    rows = [row + [[]] * (columns - len(row)) for row in rows]
    return table((), rows, [width / columns] * columns)


def bullets(texts: Sequence[str], style: str = "body") -> list[Flowable]:
    """A list, each item one line or more."""
    return [words(f"•  {text}", style) for text in texts]


def _cell(cell: Cell) -> Any:
    if isinstance(cell, str):
        return words(cell, "cell")
    return cell


class _Jpeg(ImageReader):
    """A JPEG whose bytes go into the PDF as they are, never decoded."""

    def __init__(self, taken: bytes) -> None:
        super().__init__(BytesIO(taken))
        self._taken = taken
        self._dataA = None

    def jpeg_fh(self) -> BytesIO:
        return BytesIO(self._taken)

    def getRGBData(self) -> bytes:  # noqa: N802
        """What ReportLab names the picture by; the pixels come from ``jpeg_fh``."""
        return self._taken


class Picture(Flowable):
    """A JPEG or PNG, as large as fits, with the words that stand for it."""

    def __init__(self, taken: bytes, *, says: str, width: float, height: float) -> None:
        super().__init__()
        self.image = _Jpeg(taken) if taken.startswith(b"\xff\xd8") else ImageReader(BytesIO(taken))
        self.says = says
        across, down = self.image.getSize()
        scale = min(width / across, height / down)
        self.width, self.height = across * scale, down * scale

    def draw(self) -> None:
        with self.canv.tagged(Element("Figure", self.says)):
            self.canv.drawImage(self.image, 0, 0, self.width, self.height)
