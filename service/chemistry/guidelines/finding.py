"""What judging finds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from .citation import Citation
from .exact import Limit

CLOSURE = "closure"
OUT_OF_RANGE = "out_of_range"
ADVICE = "advice"
SEVERITIES = (CLOSURE, OUT_OF_RANGE, ADVICE)
"""Gravest first."""


@dataclass(frozen=True)
class Finding:
    """One thing that is not as the guideline or the house floor wants it.

    parameter   Judged parameter, or the inspection question.
    value       What was read, None when it was not measured or is a question; bound "<" or ">" goes with it.
    unit        The parameter's own unit as shown ("mg/L", "°C", "" for pH).
    low, high   Ends of the range that was left (closing, allowed or ideal, by severity), own unit.
    severity    "closure", "out_of_range" or "advice".
    near_limit  A limit lies within the reading's error, or the reading cannot tell: repeat it.
    blocks_use  While this stands the water is not shown as fit for use.
    citation    Where the limit stands.
    row         Key of the row, None for own rules without a row.
    message     The whole finding as a sentence.
    """

    parameter: str
    value: Limit | None
    unit: str
    low: Limit | None
    high: Limit | None
    severity: str
    near_limit: bool
    blocks_use: bool
    citation: Citation
    message: str
    row: str | None = None
    bound: str | None = None

    @property
    def source(self) -> str:
        """Document, edition and clause, or "house floor (no source)"."""
        return self.citation.source

    @property
    def verified(self) -> str:
        """ "document", "secondary", "memory", "confirmed" or "house"."""
        return self.citation.verified

    @property
    def mark(self) -> str:
        """The phrase the screen shows about verification."""
        return self.citation.mark

    def as_dict(self) -> dict[str, Any]:
        """The finding in the contract's form, ready for JSON."""
        return {
            "parameter": self.parameter,
            "value": json_number(self.value),
            "bound": self.bound,
            "unit": self.unit,
            "low": json_number(self.low),
            "high": json_number(self.high),
            "severity": self.severity,
            "near_limit": self.near_limit,
            "blocks_use": self.blocks_use,
            "source": self.source,
            "verified": self.verified,
            "mark": self.mark,
            "row": self.row,
            "message": self.message,
        }


def json_number(value: Limit | None) -> int | float | None:
    """A limit as JSON holds it.

    >>> from fractions import Fraction
    >>> json_number(Fraction(3)), json_number(Fraction(1, 2)), json_number(None)
    (3, 0.5, None)
    """
    if value is None:
        return None
    return int(value) if value == int(value) else float(value)


def fit_for_use(findings: Iterable[Finding]) -> bool:
    """Whether the water as read may be called fit for use: nothing found keeps people out.

    Own choice, no source: a sanitiser, pH or temperature outside the set's limits, or a laboratory
    count beyond what the set wants, keeps people out even where the document has no closing figure.
    """
    return not any(finding.blocks_use for finding in findings)
