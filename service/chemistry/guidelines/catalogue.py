"""The sets for a picker, a command line and an API: plain dictionaries, ready for JSON."""

from __future__ import annotations

from dataclasses import asdict, fields
from decimal import Decimal
from fractions import Fraction
from typing import Any

from .citation import Citation
from .duties import Duties
from .exact import as_limit, plain
from .finding import json_number
from .guideline import Guideline
from .library import available, get
from .parameters import PARAMETERS, SANITISER_PARAMETER
from .rows import LIMITS, Row


def answer(guideline_id: str | None = None) -> dict[str, Any]:
    """What the command line prints: one set in full, or all sets under "guidelines".

    Raises InputError for an unknown id.
    """
    return {"guidelines": summary()} if guideline_id is None else detail(guideline_id)


def summary() -> list[dict[str, Any]]:
    """One entry a shipped set: what a person needs to choose.

    >>> [item["id"] for item in summary() if item["level"] == "memory"]
    ['din_19643', 'uk_hsg282', 'who_2006']
    """
    return [_summary(item) for item in available()]


def detail(guideline_id: str) -> dict[str, Any]:
    """One set, or a pair, with every row, closing condition and duty and where each stands.

    Raises InputError for an unknown id.
    """
    guideline = get(guideline_id)
    return {
        **_summary(guideline),
        "note": guideline.note,
        "rows": [_row(row) for row in guideline.rows],
        "closure_conditions": [_duty(item) for item in guideline.closure_conditions],
        "duties": {
            field.name: [_duty(item) for item in found]
            for field in fields(Duties)
            if (found := getattr(guideline.duties, field.name))
        },
        "gaps": {sanitiser: guideline.gaps(sanitiser) for sanitiser in SANITISER_PARAMETER},
        "outside_a_water_log": guideline.outside_a_water_log(),
    }


def _summary(guideline: Guideline) -> dict[str, Any]:
    return {
        "id": guideline.id,
        "title": guideline.title,
        "jurisdiction": guideline.jurisdiction,
        "document": guideline.document,
        "edition": guideline.edition,
        "kind": guideline.kind,
        "status": guideline.status,
        "level": guideline.level,
        "offered_as": guideline.offered_as,
        "suitability": guideline.suitability,
        "portable_tubs": guideline.portable_tubs,
        "applies_to": asdict(guideline.applies_to),
        "has_limits": guideline.has_limits,
        "alone_for": [name for name in SANITISER_PARAMETER if guideline.limits_sanitiser(name)],
        "row_count": len(guideline.rows),
    }


def _row(row: Row) -> dict[str, Any]:
    printed = {name: plain(limit) for name in LIMITS if (limit := row.limit(name)) is not None}
    own = {name: json_number(as_limit(end)) for name in LIMITS if (end := row.in_own_unit(name)) is not None}
    return {
        "key": row.key,
        "parameter": row.parameter,
        "label": PARAMETERS[row.parameter].label,
        "sanitiser": row.sanitiser,
        "printed": {"unit": row.unit, **printed},
        "own_unit": {"unit": PARAMETERS[row.parameter].unit, **own},
        "exclusive": sorted(row.exclusive),
        "condition": _jsonable(_set_fields(row.condition)) if row.condition else None,
        **_citation(row.citation),
    }


def _citation(citation: Citation) -> dict[str, Any]:
    return {
        "source": citation.source,
        "clause": citation.clause,
        "verified": citation.verified,
        "mark": citation.mark,
        "note": citation.note,
    }


def _duty(duty: Any) -> dict[str, Any]:
    own = {key: _jsonable(value) for key, value in _set_fields(duty).items() if key != "citation"}
    return {**own, **_citation(duty.citation)}


def _set_fields(thing: Any) -> dict[str, Any]:
    values = {name: getattr(thing, name) for name in type(thing).__annotations__}
    return {name: value for name, value in values.items() if value not in (None, (), False)}


def _jsonable(value: Any) -> Any:
    if isinstance(value, Decimal | Fraction):
        return json_number(value)
    if isinstance(value, dict):
        return {key: _jsonable(item) for key, item in value.items()}
    return [_jsonable(item) for item in value] if isinstance(value, list | tuple) else value
