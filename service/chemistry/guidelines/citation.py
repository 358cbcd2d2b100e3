"""Where a figure comes from, and how far it has been checked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

VERIFIED_LEVELS = ("memory", "secondary", "document")
"""Levels a data file may state, weakest first."""

CONFIRMED = "confirmed"
"""The level of a row that a person of the firm has checked against the document."""

HOUSE = "house"
HOUSE_SOURCE = "house floor (no source)"

MARKS: Mapping[str, str] = {
    "memory": "Unverified: check against the document",
    "secondary": "Second-hand. Check the document.",
    HOUSE: "Our own rule, no source",
}


@dataclass(frozen=True)
class Confirmation:
    """A person who has the document says that it prints this row.

    name     Who confirmed.
    on       Day of confirming.
    edition  Edition held in the hand.
    clause   Clause, page or table where the figure stands.
    """

    name: str
    on: date
    edition: str
    clause: str


@dataclass(frozen=True)
class Citation:
    """Document, edition and clause of one figure or duty, with its verification level."""

    document: str
    edition: str
    clause: str
    stated: str
    note: str = ""
    confirmation: Confirmation | None = None

    @property
    def verified(self) -> str:
        """ "document", "secondary", "memory", "confirmed" or, for own rules, "house"."""
        return CONFIRMED if self.confirmation else self.stated

    @property
    def source(self) -> str:
        """Document, edition and clause in one line.

        >>> Citation("Pool Rules", "2020", "s.4", "document").source
        'Pool Rules, 2020, s.4'
        """
        if self.stated == HOUSE:
            return HOUSE_SOURCE
        held = self.confirmation
        edition, clause = (held.edition, held.clause) if held else (self.edition, self.clause)
        return f"{self.document}, {edition}, {clause}"

    @property
    def short(self) -> str:
        """Document and clause, as they stand in a sentence."""
        if self.stated == HOUSE:
            return "house floor, ours, no source"
        return f"{self.document}, {self.confirmation.clause if self.confirmation else self.clause}"

    @property
    def mark(self) -> str:
        """The phrase the screen shows about how far the figure has been checked.

        >>> Citation("Pool Rules", "2020", "s.4", "memory").mark
        'Unverified: check against the document'
        """
        held = self.confirmation
        if held:
            return f"Confirmed by {held.name} on {held.on.isoformat()}: {held.edition}, {held.clause}"
        if self.stated == "document":
            return f"Checked against the document ({self.clause}), {self.edition}"
        return MARKS[self.stated]


def house_rule(note: str = "") -> Citation:
    """The citation of a rule that is the product's own and has no source."""
    return Citation(document="", edition="", clause="", stated=HOUSE, note=note)


def weakest(levels: list[str]) -> str:
    """The least checked of several verification levels.

    >>> weakest(["document", "memory", "confirmed"])
    'memory'
    """
    order = (*VERIFIED_LEVELS, CONFIRMED, HOUSE)
    return min(levels, key=order.index)
