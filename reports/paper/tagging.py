"""A PDF whose structure a screen reader can follow: headings, paragraphs, tables, figures in order.

ReportLab writes pages, not structure; this adds it. Everything drawn is either inside a *tag* (real
content) or an *artifact* (rules, running heads, page numbers). Terms: ISO 32000-1:2008, 14.6 to 14.8.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from reportlab.pdfbase import pdfdoc
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Table
from reportlab.platypus.tables import TableRenderCB

_ARTIFACT = "/Artifact BMC"
_END = "EMC"


@dataclass
class Element:
    """One node of the structure: its standard type, what it says in words, and what it holds."""

    tag: str
    alternative: str = ""
    column_header: bool = False
    parent: "Element | None" = None
    children: "list[Element | _Content]" = field(default_factory=list)
    name: str = ""


@dataclass(frozen=True)
class _Content:
    """A marked piece of a page: page number from 0, number of the piece on it."""

    page: int
    number: int


class TaggedCanvas(Canvas):
    """A canvas that knows what it draws. Starts each page as artifact; ``tagged`` turns to content."""

    def __init__(self, *args: Any, page_foot: Callable[[Canvas, int, int], None], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._page_foot = page_foot
        self.root = Element("Document")
        self._open: list[Element | None] = [self.root]
        self._pieces: list[list[Element]] = []

    def enter(self, element: Element | None) -> None:
        """What follows belongs to ``element``; used again, it goes on where it stopped. None: to nothing."""
        above = self._open[-1]
        if element is not None and above is not None and element.parent is None:
            element.parent = above
            above.children.append(element)
        self._open.append(element if above is not None else None)

    def leave(self) -> None:
        """Back to what was open before the last ``enter``."""
        self._open.pop()

    @contextmanager
    def tagged(self, element: Element) -> Iterator[None]:
        """What is drawn inside is the content of ``element``."""
        pieces = self._pieces_of_this_page()
        self.enter(element)
        holder = self._open[-1]
        if holder is not None:
            holder.children.append(_Content(len(self._pieces) - 1, len(pieces)))
            self._code += [_END, f"/{holder.tag} <</MCID {len(pieces)}>> BDC"]
            pieces.append(holder)
        yield
        if holder is not None:
            self._code += [_END, _ARTIFACT]
        self.leave()

    def artifact(self) -> None:
        """What follows on a new page, outside any tag, is not content."""
        self._pieces_of_this_page()

    def showPage(self) -> None:  # noqa: N802
        self.artifact()
        self._code.append(_END)
        super().showPage()

    def save(self) -> None:
        """Draw the foot of every page, now that their number is known, and write the structure."""
        pages = self._doc.Pages.pages
        for number, page in enumerate(pages):
            self._code = [_ARTIFACT]
            self._page_foot(self, number + 1, len(pages))
            page.stream += "\n".join([*self._code, _END]) + "\n"
            page.__NoDefault__ = [*pdfdoc.PDFPage.__NoDefault__, "StructParents", "Tabs"]
            page.StructParents = number
            page.Tabs = pdfdoc.PDFName("S")
        self._code = []
        self._write_structure()
        super().save()

    def _pieces_of_this_page(self) -> list[Element]:
        if len(self._pieces) == len(self._doc.Pages.pages):
            self._pieces.append([])
            self._code.append(_ARTIFACT)
        return self._pieces[-1]

    def _write_structure(self) -> None:
        elements = list(_walk(self.root))
        for number, element in enumerate(elements):
            element.name = f"Structure{number}"
        for element in elements:
            self._doc.Reference(_element_object(element), element.name)
        parents: list[Any] = []
        for number, pieces in enumerate(self._pieces):
            parents += [number, pdfdoc.PDFArray([_reference(element.name) for element in pieces])]
        catalog = self._doc.Catalog
        catalog.StructTreeRoot = pdfdoc.PDFDictionary(
            {
                "Type": pdfdoc.PDFName("StructTreeRoot"),
                "K": _reference(self.root.name),
                "ParentTree": pdfdoc.PDFDictionary({"Nums": pdfdoc.PDFArray(parents)}),
                "ParentTreeNextKey": len(self._pieces),
            }
        )
        self._doc.Reference(catalog.StructTreeRoot, "StructureTree")
        catalog.MarkInfo = pdfdoc.PDFDictionary({"Marked": "true"})


def _walk(element: Element) -> Iterator[Element]:
    yield element
    for child in element.children:
        if isinstance(child, Element):
            yield from _walk(child)


def _reference(name: str) -> Any:
    return pdfdoc.PDFObjectReference(name)


def _element_object(element: Element) -> Any:
    entries: dict[str, Any] = {
        "Type": pdfdoc.PDFName("StructElem"),
        "S": pdfdoc.PDFName(element.tag),
        "P": _reference(element.parent.name if element.parent else "StructureTree"),
        "K": pdfdoc.PDFArray([_kid(child) for child in element.children]),
    }
    if element.alternative:
        entries["Alt"] = pdfdoc.PDFString(element.alternative)
    if element.column_header:
        entries["A"] = pdfdoc.PDFDictionary({"O": pdfdoc.PDFName("Table"), "Scope": pdfdoc.PDFName("Column")})
    return pdfdoc.PDFDictionary(entries)


def _kid(child: Element | _Content) -> Any:
    if isinstance(child, Element):
        return _reference(child.name)
    return pdfdoc.PDFDictionary(
        {
            "Type": pdfdoc.PDFName("MCR"),
            # The name ReportLab gives the page object, counted from 1.
            "Pg": _reference(f"Page{child.page + 1}"),
            "MCID": child.number,
        }
    )


class TableTags(TableRenderCB):
    """Tags one table, over as many pages as it takes. Header rows repeated on a new page stay artifacts."""

    def __init__(self, *, header_rows: int) -> None:
        self._table = Element("Table")
        self._header_rows = header_rows
        self._continued = False
        self._header = False

    def startTable(self, table: Table) -> None:  # noqa: N802
        table.canv.enter(self._table)

    def endTable(self, table: Table) -> None:  # noqa: N802
        table.canv.leave()
        self._continued = True

    def startRow(self, table: Table, row: int) -> None:  # noqa: N802
        self._header = row < self._header_rows
        table.canv.enter(None if self._header and self._continued else Element("TR"))

    def startCell(self, table: Table, *_: Any) -> None:  # noqa: N802
        table.canv.enter(Element("TH" if self._header else "TD", column_header=self._header))

    def endRow(self, table: Table) -> None:  # noqa: N802
        table.canv.leave()

    endCell = endRow  # noqa: N815

    def startBG(self, table: Table) -> None:  # noqa: N802
        """Backgrounds and lines are artifacts: nothing to tag."""

    endBG = startLines = endLines = startBG  # noqa: N815
