"""The plain sentence of a finding."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from .exact import Limit, Quantity, as_limit, exact, plain
from .finding import ADVICE, CLOSURE
from .parameters import PARAMETERS, shown_unit
from .rows import Row
from .verdict_of_row import Crossing

BOUND_WORDS = {"<": "less than ", ">": "more than "}
MARKED = ("memory", "secondary")
"""Levels whose mark is spoken in the sentence; a checked row needs no warning."""


def reads(parameter: str, quantity: Quantity) -> str:
    """The reading in words, with its error: Free chlorine reads 0.4 mg/L."""
    about = PARAMETERS[parameter]
    value = quantity.value
    number = "an unknown value" if value is None else plain(as_limit(value))
    words = f"{about.label} reads {BOUND_WORDS.get(quantity.bound or '', '')}{number}"
    if quantity.plus_minus:
        words += f" ± {error_text(quantity.plus_minus)}"
    return f"{words} {about.shown_unit}".rstrip()


def error_text(plus_minus: Fraction | Decimal) -> str:
    """An error to two significant figures: more would claim to know it better than anyone does.

    >>> error_text(Decimal("0.33038")), error_text(Decimal("0.1")), error_text(Decimal("6.8"))
    ('0.33', '0.1', '6.8')
    >>> error_text(Decimal("123.4"))
    '120'
    """
    return plain(Decimal(f"{float(plus_minus):.2g}"))


def reads_in_document_unit(row: Row, quantity: Quantity) -> str:
    """The reading, with the document's figure in brackets where it prints another kind of unit."""
    said = reads(row.parameter, quantity)
    if row.unit != "degF" or quantity.value is None:
        return said
    factor, offset = row.conversion
    there = plain(as_limit(quantity.value * factor + offset))
    return f"{said} ({there} {shown_unit(row.unit)})"


def limit_text(row: Row, limit: Limit) -> str:
    """A limit as the document prints it; the unit only where it differs from the reading's."""
    return f"{plain(limit)} {shown_unit(row.unit)}" if row.unit == "degF" else plain(limit)


def crossed_sentence(row: Row, quantity: Quantity, crossed: Crossing) -> str:
    """The reading and the limit it has left: Free chlorine reads 0.4 mg/L, below 3 (document, clause)."""
    return (
        f"{reads_in_document_unit(row, quantity)}, {_where(row, quantity, crossed)} ({row.citation.short})."
    )


def _where(row: Row, quantity: Quantity, crossed: Crossing) -> str:
    side, other = ("below", "above") if crossed.is_lower else ("above", "below")
    text = limit_text(row, crossed.limit)
    if crossed.severity == ADVICE:
        return f"{side} the ideal {_ideal(row)}"
    factor, offset = row.conversion
    if quantity.bound is None and (crossed.limit_name in row.exclusive):
        at_limit = quantity.value is not None and quantity.value * factor + offset == exact(crossed.limit)
        return f"not {other} {text}" if at_limit else f"{side} {text}"
    return f"{side} {text}"


def _ideal(row: Row) -> str:
    ends = [limit_text(row, end) for end in (row.ideal_low, row.ideal_high) if end is not None]
    return " to ".join(dict.fromkeys(ends))


def doubtful_sentence(row: Row, quantity: Quantity, doubtful: Crossing) -> str:
    """The reading cannot tell on which side of the limit the water is."""
    side = "below" if doubtful.is_lower else "above"
    return (
        f"{reads_in_document_unit(row, quantity)}: whether it is {side} {limit_text(row, doubtful.limit)}"
        f" cannot be told; repeat by another method ({row.citation.short})."
    )


def near_sentence(row: Row, quantity: Quantity, near: Crossing) -> str:
    """Inside, but too close to the limit to tell."""
    return (
        f"{reads_in_document_unit(row, quantity)}: inside, but too close to the limit"
        f" {limit_text(row, near.limit)} to tell; repeat by another method ({row.citation.short})."
    )


def repeat_remark(severity: str, near: Crossing | None, doubtful: Crossing | None, row: Row) -> str:
    """What a crossed limit's sentence adds when a limit is too close, or a graver one cannot be told."""
    if doubtful is not None:
        side = "below" if doubtful.is_lower else "above"
        limit = limit_text(row, doubtful.limit)
        return f"Whether it is {side} {limit} cannot be told: repeat by another method."
    if near is None:
        return ""
    if severity == CLOSURE:
        return "Close to the limit: repeat by another method; the closure stands until then."
    return "Close to the limit: repeat by another method."


def mark_remark(row: Row) -> str:
    """The warning of a row that nobody has checked against the document."""
    return f"{row.citation.mark.rstrip('.')}." if row.verified in MARKED else ""


def joined(*sentences: str) -> str:
    """Sentences one after the other, empty ones left out."""
    return " ".join(sentence for sentence in sentences if sentence)
