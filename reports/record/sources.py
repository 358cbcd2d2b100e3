"""Where every limit on the record stands, numbered in the order in which it is first cited."""

from collections.abc import Mapping

from reportlab.platypus import Flowable

from reports.paper.pieces import section, table, words
from reports.record.reader import Edition
from service.chemistry.guidelines.citation import HOUSE, MARKS
from service.chemistry.guidelines.guideline import OFFERED_AS

_IN_A_ROW: Mapping[str, str] = {"memory": "unverified", "secondary": "second-hand", HOUSE: "our own rule"}
_CHECKED: Mapping[str, str] = {
    "document": "Checked against the document, in the edition named.",
    "confirmed": "Confirmed by the firm against the document.",
}


class Sources:
    """The sources cited so far."""

    def __init__(self) -> None:
        self._found: dict[tuple[str, str], int] = {}

    def cite(self, source: str, verified: str) -> str:
        """What stands in a row: "[2]", with a word where nobody has checked the figure."""
        number = self._found.setdefault((source, verified), len(self._found) + 1)
        warning = _IN_A_ROW.get(verified)
        return f"[{number}, {warning}]" if warning else f"[{number}]"

    def listed(self) -> list[tuple[int, str, str]]:
        """Number, source and how far it has been checked."""
        return [(number, source, mark(verified)) for (source, verified), number in self._found.items()]


def mark(verified: str) -> str:
    """How far a figure has been checked, as a sentence."""
    known = _CHECKED.get(verified) or MARKS.get(verified, "")
    return f"{known.rstrip('.')}." if known else ""


def sources_section(edition: Edition, sources: Sources, width: float) -> list[Flowable]:
    story = _guideline(edition)
    rows = [[f"[{number}]", _short(edition, source), mark] for number, source, mark in sources.listed()]
    if rows:
        story.append(table(["", "Limit", "How far checked"], rows, [28, width - 28 - 165, 165]))
    return section("Sources", *story, width=width)


def _guideline(edition: Edition) -> list[Flowable]:
    guideline = edition.content["guideline"]
    if "document" not in guideline:
        return [words(f"The guideline set {guideline['id']} was not known when this was signed.")]
    return [
        words(f"Judged by {guideline['title']}: {guideline['document']}, edition {guideline['edition']}."),
        words(f"The set as a whole: {OFFERED_AS.get(guideline['level'], '')}.", "soft"),
    ]


def _short(edition: Edition, source: str) -> str:
    """The clause alone where the document is the one named above the table."""
    guideline = edition.content["guideline"]
    above = f"{guideline.get('document')}, {guideline.get('edition')}, "
    return f"The document above, {source.removeprefix(above)}" if source.startswith(above) else source
