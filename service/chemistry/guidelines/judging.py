"""Readings against a guideline set and the house floor under it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from service.chemistry.readings import Reading

from .citation import house_rule
from .exact import Quantity
from .finding import ADVICE, CLOSURE, OUT_OF_RANGE, SEVERITIES, Finding
from .guideline import Guideline
from .house_floor import floor_rows, sanitiser_parameter
from .in_force import Circumstances, RowInForce, rows_in_force
from .inspection import judge_inspection
from .library import check_choice
from .parameters import PARAMETERS
from .row_finding import Past, finding_of_row
from .sentences import reads
from .water_as_read import quantities, total_below_free


def judge(
    readings: Mapping[str, Reading],
    *,
    guideline: Guideline,
    sanitiser: str,
    setting: str,
    fill: Mapping[str, Reading] | None = None,
    inspection: Mapping[str, bool | None] | None = None,
    product_family: str | None = None,
    earlier: Sequence[Mapping[str, Reading]] = (),
    portable: bool = True,
) -> list[Finding]:
    """Everything in the water and the inspection that is not as it should be, gravest first.

    readings        By parameter; what is absent was not measured, which is never taken as fit.
    sanitiser       "chlorine", "bromine" or "other". setting: "indoor" or "outdoor".
    fill            Readings of the supply water, for the rise of dissolved solids.
    inspection      Question -> True (Yes), False (No), None (not looked at).
    product_family  "hypochlorite" or "acidic_or_bromine", for sets that choose a row by it; None: not known.
    earlier         Readings of earlier tests, for limits that close only after some time.
    portable        A portable tub; sets that need a treatment plant are refused for it.

    Limits are compared exactly, on what was typed, in the unit the document prints. Under every set
    lies the house floor. `fit_for_use` of the findings says whether people may be let in.

    Raises InputError for an unknown sanitiser, setting, product family or question, and (field
    "guideline") for a set that cannot judge this spa.

    >>> from service.chemistry.guidelines import get
    >>> from service.chemistry.readings import parse_readings
    >>> water = parse_readings({"free_chlorine_mg_l": 0.4, "ph": 7.4, "temperature_c": 38})
    >>> found = judge(water, guideline=get("new_york_6_1"), sanitiser="chlorine", setting="outdoor")
    >>> [(item.severity, item.source) for item in found]  # doctest: +ELLIPSIS
    [('closure', 'house floor (no source)'), ('out_of_range', 'New York Codes, Rules and Regulations, ...')]
    """
    check_choice(guideline, sanitiser=sanitiser, portable=portable)
    about = Circumstances(quantities(readings, fill=fill), sanitiser, setting, product_family)
    past = [quantities(test, fill=fill) for test in earlier]
    found = _by_set(guideline, about, past)
    found += _by_floor(guideline, about, found)
    found += _not_measured(guideline, about)
    found += _contradiction(about.water)
    found += judge_inspection(inspection or {}, guideline=guideline)
    return sorted(found, key=lambda finding: SEVERITIES.index(finding.severity))


def _by_set(guideline: Guideline, about: Circumstances, past: Past) -> list[Finding]:
    findings = [finding_of_row(item, guideline, about, past) for item in rows_in_force(guideline, about)]
    return [finding for finding in findings if finding is not None]


def _by_floor(guideline: Guideline, about: Circumstances, found: Sequence[Finding]) -> list[Finding]:
    """What the floor adds: nothing where the set itself already says as much of the parameter."""
    rows = floor_rows(guideline, about)
    findings = [finding_of_row(RowInForce(row), guideline, about, ()) for row in rows]
    return [
        finding
        for finding in findings
        if finding is not None and not any(_says_as_much(other, finding) for other in found)
    ]


def _says_as_much(other: Finding, finding: Finding) -> bool:
    as_grave = SEVERITIES.index(other.severity) <= SEVERITIES.index(finding.severity)
    return other.parameter == finding.parameter and as_grave and other.blocks_use >= finding.blocks_use


def _not_measured(guideline: Guideline, about: Circumstances) -> list[Finding]:
    findings = []
    parameter = sanitiser_parameter(about.sanitiser)
    if parameter is None:
        findings.append(
            _own("sanitiser", CLOSURE, "No guideline set judges this sanitiser: never called fit")
        )
    elif parameter not in about.water:
        findings.append(_own(parameter, CLOSURE, f"{PARAMETERS[parameter].label} was not measured"))
    elif not rows_in_force(guideline, about, parameter):
        label = PARAMETERS[parameter].label
        text = f"{label}: no limit of this set is in force here, so it cannot call the water fit"
        findings.append(_own(parameter, OUT_OF_RANGE, text, about.water[parameter]))
    if "ph" not in about.water:
        findings.append(_own("ph", CLOSURE, "pH was not measured"))
    if "temperature_c" not in about.water:
        text = "Water temperature was not measured: make sure that it is not above 40 °C"
        findings.append(_own("temperature_c", ADVICE, text))
    return findings


def _contradiction(water: Mapping[str, Quantity]) -> list[Finding]:
    if not total_below_free(water):
        return []
    name, free = "total_chlorine_mg_l", reads("free_chlorine_mg_l", water["free_chlorine_mg_l"])
    text = f"{reads(name, water[name])}, which cannot be: {free[0].lower()}{free[1:]}. Repeat both tests"
    return [_own(name, OUT_OF_RANGE, text, water[name])]


def _own(parameter: str, severity: str, text: str, quantity: Quantity | None = None) -> Finding:
    """A finding of our own that is not a limit left."""
    citation = house_rule()
    known = PARAMETERS.get(parameter)
    value = None if quantity is None else quantity.value
    return Finding(
        parameter=parameter,
        value=value,
        unit=known.shown_unit if known else "",
        low=None,
        high=None,
        severity=severity,
        near_limit=False,
        blocks_use=severity != ADVICE,
        citation=citation,
        message=f"{text} ({citation.short}).",
        bound=None if quantity is None else quantity.bound,
    )
