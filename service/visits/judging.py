"""Readings of a visit as the chemistry takes them, and what a guideline finds in them."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from service.chemistry.errors import InputError
from service.chemistry.guidelines import get, judge
from service.chemistry.readings import PARAMETERS
from service.chemistry.readings import Reading as Measured
from service.visits.changes import done_changes, drained_at
from service.visits.inspection import BY_KEY, judged_answers, said_no
from service.visits.models import Moment, Reading, Visit
from service.visits.standing_water import readings_at


@dataclass(frozen=True)
class Judgement:
    """What is found in the water and by the inspection, in the engine's own form, gravest first.

    findings  As ``Finding.as_dict`` gives them. problem: why it cannot be judged at all, else "".
    """

    findings: tuple[dict[str, Any], ...]
    problem: str = ""

    @property
    def fit(self) -> bool:
        """Nothing found keeps people out."""
        return not self.problem and not any(finding["blocks_use"] for finding in self.findings)

    @property
    def blocking(self) -> list[dict[str, Any]]:
        return [finding for finding in self.findings if finding["blocks_use"]]


def judge_readings(visit: Visit, readings: Iterable[Reading]) -> Judgement:
    """Judge readings and the visit's inspection by the guideline in force at its spa.

    Exact, on what was typed; a reading that is too far off to be solved is judged like any other.
    Needs ``spa.site.client``, ``spa.organisation`` and ``organisation`` loaded.
    """
    spa = visit.spa
    try:
        findings = judge(
            {reading.parameter: measured(reading) for reading in readings if reading.parameter in PARAMETERS},
            guideline=get(spa.guideline_in_force()),
            sanitiser=spa.sanitiser,
            setting=spa.setting,
            fill=supply_water(spa.site.supply_water),
            inspection=judged_answers(visit),
        )
    except InputError as error:
        return Judgement((), " ".join(f"{fault.message.rstrip('.')}." for fault in error.errors))
    found = [finding.as_dict() for finding in findings]
    closing = {finding["parameter"] for finding in found if finding["blocks_use"]}
    return Judgement((*(held for held in _held(visit) if held["parameter"] not in closing), *found))


def measured(reading: Reading) -> Measured:
    """A reading as the chemistry holds it, dilution and conversion in its value already."""
    return Measured(
        value=float(reading.value),
        typed=reading.value,
        plus_minus=None if reading.plus_minus is None else float(reading.plus_minus),
        method=reading.method or None,
        at=reading.taken_at,
        bound=reading.bound or None,
        dilution_factor=reading.dilution_factor,
    )


def supply_water(figures: dict[str, Any]) -> dict[str, Measured]:
    """The supply water's figures as readings; what is not a known number is left out."""
    readings = {}
    for name, value in figures.items():
        if name in PARAMETERS and isinstance(value, int | float) and not isinstance(value, bool):
            readings[name] = Measured(value=float(value), typed=Decimal(repr(value)))
    return readings


def reasons_to_keep_closed(visit: Visit) -> list[str]:
    """Why the spa may not be used if this visit ends without a signature; empty when nothing says so.

    Something was added and nobody has tested since, or what was read or seen keeps people out.
    """
    if done_changes(visit) or drained_at(visit):
        return ["Something was done to the water, and no verdict was signed after it."]
    readings = readings_at(visit, Moment.AFTER)
    read = {reading.parameter for reading in readings}
    judgement = judge_readings(visit, readings)
    seen = [
        finding["message"]
        for finding in judgement.blocking
        if finding["value"] is not None or finding["parameter"] in BY_KEY or finding["parameter"] in read
    ]
    if judgement.problem and read:
        seen.append(judgement.problem)
    return seen


def _held(visit: Visit) -> list[dict[str, Any]]:
    """Findings for what the inspection says and no guideline set judges, but which closes."""
    return [
        _house_finding(line.item, f"{BY_KEY[line.item].question} No. {line.note}")
        for line in said_no(visit)
        if BY_KEY[line.item].closes and (not BY_KEY[line.item].judged or BY_KEY[line.item].hold)
    ]


def _house_finding(key: str, message: str) -> dict[str, Any]:
    return {
        "parameter": key,
        "value": None,
        "bound": None,
        "unit": "",
        "low": None,
        "high": None,
        "severity": "closure",
        "near_limit": False,
        "blocks_use": True,
        "source": "house floor (no source)",
        "verified": "house",
        "mark": "Our own rule, no source",
        "row": None,
        "message": message.strip(),
    }
