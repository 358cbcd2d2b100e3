"""The page and the file: sizes, type, running head and foot, bookmarks, the same bytes each time."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache, partial
from io import BytesIO
from typing import Any

from django.conf import settings
from reportlab import rl_config
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import registerFont, registerFontFamily, stringWidth
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from reports.paper.tagging import TaggedCanvas

# A photograph keeps the bytes whose digest the record names, so that it can be taken out and checked.
rl_config.useA85 = 0

INK = HexColor(0x111111)
SOFT = HexColor(0x444444)
TONE = HexColor(0x8A8A8A)
RULE = HexColor(0xBBBBBB)
SANS = "Source Sans 3"
SEMIBOLD = "Source Sans 3 Semibold"
SIDE = 18 * mm
TOP = 20 * mm
BOTTOM = 21 * mm
HEAD_SIZE = 8


@dataclass(frozen=True)
class About:
    """What the file says of itself.

    head       Runs along the top of every page but the first.
    foot       Runs along the bottom of every page, beside "Page x of y".
    stamped    The time the file bears: that of what it records, never that of its making.
    us_paper   Letter and American English, else A4 and British.
    """

    title: str
    subject: str
    author: str
    head: str
    foot: str
    stamped: datetime
    us_paper: bool = False

    @property
    def size(self) -> tuple[float, float]:
        width, height = LETTER if self.us_paper else A4
        return float(width), float(height)

    @property
    def text_width(self) -> float:
        return float(self.size[0] - 2 * SIDE)


@dataclass(frozen=True)
class Pdf:
    """A finished file."""

    content: bytes
    pages: int

    @property
    def digest(self) -> str:
        return hashlib.sha256(self.content).hexdigest()


def write_pdf(story: Sequence[Flowable], about: About) -> Pdf:
    """Set the story. The same story and ``about`` give the same bytes, on any day, in any process."""
    use_fonts()
    written = BytesIO()
    _, height = about.size
    frame = Frame(
        SIDE,
        BOTTOM,
        about.text_width,
        height - TOP - BOTTOM,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )
    document = BaseDocTemplate(
        written,
        pagesize=about.size,
        title=about.title,
        subject=about.subject,
        author=about.author,
        creator="Runnel",
        lang="en-US" if about.us_paper else "en-GB",
        displayDocTitle=True,
        # Otherwise each page begins with Helvetica, which is never embedded.
        initialFontName=SANS,
        pageCompression=1,
        invariant=1,
        pageTemplates=[PageTemplate(frames=[frame], onPage=partial(_begin_page, about=about))],
    )
    document.build(list(story), canvasmaker=partial(TaggedCanvas, page_foot=partial(_foot, about=about)))
    return Pdf(written.getvalue(), document.page)


@lru_cache(maxsize=1)
def use_fonts() -> None:
    """Make the shipped typeface known to ReportLab. Every style below needs it."""
    folder = settings.BASE_DIR / "service" / "static" / "fonts"
    registerFont(TTFont(SANS, folder / "SourceSans3-Regular.ttf"))
    registerFont(TTFont(SEMIBOLD, folder / "SourceSans3-Semibold.ttf"))
    registerFontFamily(SANS, normal=SANS, bold=SEMIBOLD, italic=SANS, boldItalic=SEMIBOLD)


@dataclass(frozen=True)
class _Stamp:
    """Stands in for ReportLab's own clock: a fixed moment in UTC."""

    moment: datetime
    dhh: int = 0
    dmm: int = 0
    tzname: str = "UTC"

    @property
    def t(self) -> float:
        return self.moment.timestamp()

    @property
    def YMDhms(self) -> tuple[int, ...]:  # noqa: N802
        return tuple(self.moment.timetuple())[:6]


def _begin_page(canvas: Canvas, document: Any, *, about: About) -> None:
    if document.page == 1:
        canvas._doc._timeStamp = _Stamp(about.stamped.astimezone(UTC))
        canvas.addPageLabel(0, style="ARABIC", start=1)
        canvas.showOutline()
        return
    canvas.artifact()
    canvas.setFillColor(SOFT)
    canvas.setFont(SANS, HEAD_SIZE)
    canvas.drawString(SIDE, about.size[1] - 12 * mm, _fitted(about.head, about.text_width))


def _foot(canvas: Canvas, number: int, pages: int, *, about: About) -> None:
    right = about.size[0] - SIDE
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.5)
    canvas.line(SIDE, 15 * mm, right, 15 * mm)
    canvas.setFillColor(SOFT)
    canvas.setFont(SANS, HEAD_SIZE)
    count = f"Page {number} of {pages}"
    room = about.text_width - stringWidth(count, SANS, HEAD_SIZE) - 5 * mm
    canvas.drawString(SIDE, 11 * mm, _fitted(about.foot, room))
    canvas.drawRightString(right, 11 * mm, count)


def _fitted(text: str, room: float) -> str:
    """The text, cut with an ellipsis where it would run out of its line."""
    if stringWidth(text, SANS, HEAD_SIZE) <= room:
        return text
    while text and stringWidth(f"{text}…", SANS, HEAD_SIZE) > room:
        text = text[:-1]
    return f"{text.rstrip()}…"
