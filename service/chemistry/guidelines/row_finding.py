"""The finding, if any, of one row in force."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from .exact import Limit, Quantity, as_limit
from .finding import ADVICE, CLOSURE, OUT_OF_RANGE, Finding
from .guideline import Guideline
from .in_force import Circumstances, RowInForce, widening_rows
from .lasting import lasts_longer_than
from .parameters import KEEPS_PEOPLE_OUT, MICROBIOLOGY, PARAMETERS
from .rows import Row
from .sentences import (
    crossed_sentence,
    doubtful_sentence,
    joined,
    mark_remark,
    near_sentence,
    reads,
    repeat_remark,
)
from .verdict_of_row import TIERS, RowVerdict, verdict_of_row

Past = Sequence[Mapping[str, Quantity]]
"""Quantities of earlier tests, in any order."""


def finding_of_row(
    item: RowInForce, guideline: Guideline, about: Circumstances, past: Past
) -> Finding | None:
    """What one row says of the water; None when it is content or its parameter was not measured."""
    row, quantity = item.row, about.water.get(item.row.parameter)
    if quantity is None:
        return None
    verdict = verdict_of_row(row, quantity)
    finding = _plain_finding(row, quantity, verdict)
    if finding is None:
        return None
    finding = _if_it_lasts(finding, row, quantity, past)
    finding = _if_widened(finding, row, quantity, guideline, about)
    remark = f"{item.remark}." if item.remark else ""
    return replace(finding, message=joined(finding.message, remark, mark_remark(row)))


def _plain_finding(row: Row, quantity: Quantity, verdict: RowVerdict) -> Finding | None:
    crossed, doubtful, near = verdict.crossed, verdict.doubtful, verdict.near
    if crossed is not None:
        said = crossed_sentence(row, quantity, crossed)
        message = joined(said, repeat_remark(crossed.severity, near, doubtful, row))
        uncertain = near is not None or doubtful is not None
        return _finding(
            row, quantity, crossed.severity, crossed.severity, verdict, message, near_limit=uncertain
        )
    if doubtful is not None:
        message = doubtful_sentence(row, quantity, doubtful)
        return _finding(row, quantity, ADVICE, doubtful.severity, verdict, message, near_limit=True)
    if near is not None:
        message = near_sentence(row, quantity, near)
        return _finding(row, quantity, ADVICE, near.severity, verdict, message, near_limit=True)
    return None


def _finding(
    row: Row,
    quantity: Quantity,
    severity: str,
    tier: str,
    verdict: RowVerdict,
    message: str,
    *,
    near_limit: bool,
) -> Finding:
    low, high = _range(row, tier)
    value = quantity.value
    return Finding(
        parameter=row.parameter,
        value=None if value is None else as_limit(value),
        unit=PARAMETERS[row.parameter].shown_unit,
        low=low,
        high=high,
        severity=severity,
        near_limit=near_limit,
        blocks_use=_blocks_use(row, verdict),
        citation=row.citation,
        message=message,
        row=row.key,
        bound=quantity.bound,
    )


def _range(row: Row, tier: str) -> tuple[Limit | None, Limit | None]:
    """The ends of a tier in the parameter's own unit."""
    _, lower, upper = next(names for names in TIERS if names[0] == tier)
    low, high = row.in_own_unit(lower), row.in_own_unit(upper)
    return None if low is None else as_limit(low), None if high is None else as_limit(high)


def _blocks_use(row: Row, verdict: RowVerdict) -> bool:
    """Own choice, no source: see `fit_for_use`. What cannot be told keeps people out like what is known."""
    severities = {found.severity for found in (verdict.crossed, verdict.doubtful) if found is not None}
    if row.parameter in MICROBIOLOGY:
        return bool(severities)
    if row.parameter in KEEPS_PEOPLE_OUT:
        return bool(severities & {CLOSURE, OUT_OF_RANGE})
    return CLOSURE in severities


def _if_it_lasts(finding: Finding, row: Row, quantity: Quantity, past: Past) -> Finding:
    """A closing limit that needs time closes only when earlier tests show that it has lasted."""
    hours = row.condition.lasts_more_than_hours if row.condition else None
    if hours is None or finding.severity != CLOSURE:
        return finding
    tests = [test[row.parameter] for test in past if row.parameter in test]
    passed = [
        (test.at, (found := verdict_of_row(row, test).crossed) is not None and found.severity == CLOSURE)
        for test in tests
        if test.at is not None
    ]
    if quantity.at is not None and lasts_longer_than([*passed, (quantity.at, True)], float(hours)):
        said = f"It has lasted more than {hours} h."
        return replace(finding, message=joined(finding.message, said))
    said = f"The spa must close if it lasts more than {hours} h: test again."
    return replace(finding, severity=ADVICE, blocks_use=False, message=joined(finding.message, said))


def _if_widened(
    finding: Finding, row: Row, quantity: Quantity, guideline: Guideline, about: Circumstances
) -> Finding:
    """Outside a row, but inside a range that the set adds because its condition was measured."""
    if finding.severity != OUT_OF_RANGE or row.condition is not None:
        return finding
    for wider in widening_rows(guideline, about, row.parameter):
        outcome = verdict_of_row(wider, quantity)
        if wider.set_id != row.set_id or outcome.crossed is not None or outcome.doubtful is not None:
            continue
        name = wider.condition.parameter if wider.condition else None
        measured = reads(name, about.water[name]) if name else ""
        message = f"{finding.message} Accepted because {measured[0].lower()}{measured[1:]}. {wider.note}"
        return replace(finding, severity=ADVICE, blocks_use=False, row=wider.key, message=message.strip())
    return finding
