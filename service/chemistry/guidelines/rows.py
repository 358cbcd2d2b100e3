"""One limit of a document, as data."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from fractions import Fraction

from .citation import Citation
from .exact import Limit, exact
from .parameters import conversion

LIMITS = ("min", "ideal_low", "ideal_high", "max", "close_below", "close_above")
"""The six limits a row may hold, under the names data files use."""


@dataclass(frozen=True)
class Condition:
    """When a row counts.

    effect  "selects": the row counts only if this holds; "tightens": it replaces the looser row;
            "widens": it adds to the allowed range, and only if the condition was measured.
    parameter with above, or with start and end (ends allowed), in the parameter's own unit;
    or outdoor; or product_family; or lasts_more_than_hours.
    """

    effect: str
    parameter: str | None = None
    above: Limit | None = None
    start: Limit | None = None
    end: Limit | None = None
    outdoor: bool | None = None
    product_family: str | None = None
    lasts_more_than_hours: Limit | None = None


@dataclass(frozen=True)
class Row:
    """Limits of one parameter in the unit the document prints.

    min, max                  Outside: act.
    ideal_low, ideal_high     Outside: advice.
    close_below, close_above  Outside: do not open.
    exclusive                 Names of ends that are not themselves allowed.
    key                       Stable name of the row, "set id/row name"; confirmations are stored under it.
    """

    key: str
    parameter: str
    sanitiser: str
    unit: str
    citation: Citation
    min: Limit | None = None
    ideal_low: Limit | None = None
    ideal_high: Limit | None = None
    max: Limit | None = None
    close_below: Limit | None = None
    close_above: Limit | None = None
    exclusive: frozenset[str] = frozenset()
    condition: Condition | None = None

    @property
    def set_id(self) -> str:
        """Id of the guideline set the row belongs to."""
        return self.key.partition("/")[0]

    @property
    def clause(self) -> str:
        """Clause of the document."""
        return self.citation.clause

    @property
    def verified(self) -> str:
        """Verification level, "confirmed" once a person has confirmed the row."""
        return self.citation.verified

    @property
    def note(self) -> str:
        """Short remark that belongs to the figure."""
        return self.citation.note

    def limit(self, name: str) -> Limit | None:
        """One of the six limits by name, in the document's unit."""
        value: Limit | None = getattr(self, name)
        return value

    def in_own_unit(self, name: str) -> Fraction | None:
        """One of the six limits in the unit of the parameter's name (104 degF is 40 degC).

        >>> from .citation import house_rule
        >>> hot = Row("a/hot", "temperature_c", "any", "degF", house_rule(), max=Fraction(104))
        >>> hot.in_own_unit("max")
        Fraction(40, 1)
        """
        value = self.limit(name)
        if value is None:
            return None
        factor, offset = self.conversion
        return (exact(value) - offset) / factor

    @property
    def conversion(self) -> tuple[Fraction, Fraction]:
        """Factor and offset from the parameter's own unit to the document's."""
        known = conversion(self.parameter, self.unit)
        if known is None:
            raise ValueError(f"{self.key}: {self.unit} is not a unit of {self.parameter}")
        return known

    def without(self, names: Collection[str]) -> Row:
        """The same row without some of its limits."""
        kept = {name: None if name in names else self.limit(name) for name in LIMITS}
        return Row(
            self.key,
            self.parameter,
            self.sanitiser,
            self.unit,
            self.citation,
            **kept,
            exclusive=self.exclusive - set(names),
            condition=self.condition,
        )

    def fits(self, sanitiser: str) -> bool:
        """Whether the row speaks of a spa on this sanitiser."""
        return self.sanitiser in ("any", sanitiser)
