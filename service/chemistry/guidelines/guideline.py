"""A guideline set: the rows and duties of one document, or of two that a client uses together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from service.chemistry.errors import refuse

from .citation import VERIFIED_LEVELS, Confirmation
from .duties import ClosureCondition, Duties
from .parameters import PARAMETERS, SANITISER_PARAMETER
from .rows import Row

OFFERED_AS: Mapping[str, str] = {
    "document": "Checked against the document",
    "secondary": "Second-hand",
    "mixed": "Partly checked: each row carries its mark",
    "memory": "Unverified: check against the document",
    "confirmed": "Confirmed by your firm",
}


@dataclass(frozen=True)
class AppliesTo:
    """Whom the document speaks to: "yes", "no …", "not read" or a few words."""

    public: str
    let: str
    domestic: str
    note: str = ""


@dataclass(frozen=True)
class Guideline:
    """One set, or a pair joined with "+".

    suitability    Warning for the picker, None when there is none.
    portable_tubs  False: not offered for a portable tub.
    pairs          False: never used together with another set.
    parts          Ids of the sets it is made of.
    """

    id: str
    title: str
    jurisdiction: str
    document: str
    edition: str
    kind: str
    status: str
    suitability: str | None
    applies_to: AppliesTo
    note: str
    portable_tubs: bool
    pairs: bool
    rows: tuple[Row, ...]
    closure_conditions: tuple[ClosureCondition, ...]
    duties: Duties
    parts: tuple[str, ...]

    @property
    def key_rows(self) -> tuple[Row, ...]:
        """Rows that say how far the set is checked: free chlorine, bromine and pH, else all rows."""
        core = {*SANITISER_PARAMETER.values(), "ph"}
        return tuple(row for row in self.rows if row.parameter in core) or self.rows

    @property
    def level(self) -> str:
        """ "document", "secondary", "memory", "confirmed", or "mixed" where the key rows differ."""
        levels = {row.verified for row in self.key_rows}
        return levels.pop() if len(levels) == 1 else "mixed"

    @property
    def offered_as(self) -> str:
        """What the picker says of the set's verification."""
        return OFFERED_AS[self.level]

    @property
    def has_limits(self) -> bool:
        """Whether the set limits a sanitiser or pH at all."""
        return self.key_rows != self.rows or any(row.parameter == "ph" for row in self.rows)

    def limits_sanitiser(self, sanitiser: str) -> bool:
        """Whether the set has a row for the reading of this sanitiser."""
        parameter = SANITISER_PARAMETER.get(sanitiser)
        return any(row.parameter == parameter and row.fits(sanitiser) for row in self.rows)

    def gaps(self, sanitiser: str) -> list[str]:
        """Sentences naming what the set does not limit: no row is not "no limit"."""
        asked = (SANITISER_PARAMETER.get(sanitiser), "ph", "temperature_c")
        limited = {row.parameter for row in self.rows if row.fits(sanitiser)}
        missing = [name for name in asked if name is not None and name not in limited]
        return [f"This set has no {_spoken(name)} figure: only the house floor applies." for name in missing]

    def outside_a_water_log(self) -> list[str]:
        """Closing conditions of the document that a visit to test water does not look at."""
        return [item.condition for item in self.closure_conditions if item.detectable_from == "no"]


def _spoken(parameter: str) -> str:
    label = PARAMETERS[parameter].label
    return label if parameter == "ph" else label.lower()


def confirm(guideline: Guideline, confirmations: Mapping[str, Confirmation]) -> Guideline:
    """The set with some rows confirmed by a person who holds the document.

    confirmations  Row key ("set id/row name") -> who, when, which edition and clause.

    Raises InputError for a key that names no row of the set.
    """
    known = {row.key for row in guideline.rows}
    unknown = sorted(set(confirmations) - known)
    if unknown:
        raise refuse("confirmations", f"{unknown[0]} is not a row of {guideline.id}")
    rows = tuple(_confirmed(row, confirmations.get(row.key)) for row in guideline.rows)
    return replace(guideline, rows=rows)


def _confirmed(row: Row, confirmation: Confirmation | None) -> Row:
    if confirmation is None:
        return row
    return replace(row, citation=replace(row.citation, confirmation=confirmation))


def unverified_rows(guideline: Guideline) -> list[Row]:
    """Rows nobody has checked against the document yet, weakest first: what to confirm next."""
    waiting = [row for row in guideline.rows if row.verified in ("memory", "secondary")]
    return sorted(waiting, key=lambda row: VERIFIED_LEVELS.index(row.verified))
