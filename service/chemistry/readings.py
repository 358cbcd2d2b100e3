"""Readings as they come from a request: numbers with method, bound and dilution of the sample."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from . import limits
from .errors import FieldError, InputError
from .limits import Limit

Parameter = Limit

METHODS = ("strip", "drops", "photometer", "electrode", "laboratory")
BOUNDS = ("<", ">")
UNDILUTED = ("temperature_c", "ph", "orp_mv")

# Accepted ranges: guard rails chosen so that a slip of the finger is caught and no tub water is.
PARAMETERS: Mapping[str, Parameter] = MappingProxyType(
    {
        "temperature_c": limits.TEMPERATURE,
        "ph": Parameter("pH", "", 0, 14),
        "total_alkalinity_mg_l": Parameter("Total alkalinity", "mg/L as CaCO3", 0, 1000),
        "calcium_hardness_mg_l": Parameter("Calcium hardness", "mg/L as CaCO3", 0, 2000),
        "cyanuric_acid_mg_l": Parameter("Cyanuric acid", "mg/L", 0, 300),
        "borate_mg_l": Parameter("Borate", "mg/L as B", 0, 100),
        "free_chlorine_mg_l": Parameter("Free chlorine", "mg/L as Cl2", 0, 100),
        "total_chlorine_mg_l": Parameter("Total chlorine", "mg/L as Cl2", 0, 100),
        "total_bromine_mg_l": Parameter("Total bromine", "mg/L as Br2", 0, 100),
        "bromide_mg_l": Parameter("Bromide", "mg/L as Br-", 0, 1000),
        "total_dissolved_solids_mg_l": Parameter("Total dissolved solids", "mg/L", 0, 10000),
        "sulfate_mg_l": Parameter("Sulfate", "mg/L as SO4", 0, 5000),
        "orp_mv": Parameter("Oxidation-reduction potential", "mV", -1000, 1500),
        "turbidity_ntu": Parameter("Turbidity", "NTU", 0, 1000),
        "acid_capacity_mmol_l": Parameter("Acid capacity", "mmol/L", 0, 20),
        "colony_count_cfu_ml": Parameter("Colony count", "cfu/mL", 0, 1e9),
        "e_coli_per_100_ml": Parameter("Escherichia coli", "per 100 mL", 0, 1e9),
        "total_coliforms_per_100_ml": Parameter("Total coliforms", "per 100 mL", 0, 1e9),
        "total_coliforms_mpn_per_100_ml": Parameter("Total coliforms", "MPN/100 mL", 0, 1e9),
        "pseudomonas_aeruginosa_per_100_ml": Parameter("Pseudomonas aeruginosa", "per 100 mL", 0, 1e9),
        "legionella_cfu_l": Parameter("Legionella", "cfu/L", 0, 1e9),
        "legionella_per_100_ml": Parameter("Legionella", "per 100 mL", 0, 1e9),
    }
)


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading in its parameter's unit.

    value            For chemistry; the dilution of the sample is already multiplied in.
    typed            For judging against limits: exactly what was typed, dilution multiplied in.
    plus_minus       The instrument's own uncertainty, or None where the method's figure serves.
    method           One of METHODS or None. at: an aware time or None.
    bound            "<" or ">" where the kit only said below or above. dilution_factor: 1 or more.
    """

    value: float
    typed: Decimal
    plus_minus: float | None = None
    method: str | None = None
    at: datetime | None = None
    bound: str | None = None
    dilution_factor: Decimal = Decimal(1)


def parse_readings(raw: Mapping[str, Any], *, path: str = "readings") -> dict[str, Reading]:
    """Readings by parameter name; what is absent or null stays absent, because it is not known.

    raw    A value is a number or an object with "value" and any of plus_minus, method, at, bound and
           dilution_factor. path: where the readings stand in the request, for the errors.

    Raises InputError that lists every reading at fault, with its limit and unit.

    >>> parse_readings({"ph": 7.4, "free_chlorine_mg_l": {"value": 2, "dilution_factor": 5}})[
    ...     "free_chlorine_mg_l"].value
    10.0
    >>> parse_readings({"ph": 15})
    Traceback (most recent call last):
    service.chemistry.errors.InputError: readings.ph: pH must be from 0 to 14
    """
    if not isinstance(raw, Mapping):
        raise InputError([FieldError(path, "Readings must be an object of names and values")])
    errors: list[FieldError] = []
    readings: dict[str, Reading] = {}
    for name, value in raw.items():
        if value is None:
            continue
        reading = _parse_reading(name, value, f"{path}.{name}", errors)
        if reading:
            readings[name] = reading
    errors += _contradictions(readings, path)
    if errors:
        raise InputError(errors)
    return readings


def _parse_reading(name: str, raw: Any, field: str, errors: list[FieldError]) -> Reading | None:
    parameter = PARAMETERS.get(name)
    if parameter is None:
        errors.append(FieldError(field, f"Unknown reading; known are {', '.join(PARAMETERS)}"))
        return None
    given = raw if isinstance(raw, Mapping) else {"value": raw}
    found: list[FieldError] = []
    factor = _number(given.get("dilution_factor"), limits.DILUTION_FACTOR, f"{field}.dilution_factor", found)
    factor = Decimal(1) if factor is None else factor
    if factor != 1 and name in UNDILUTED:
        found.append(FieldError(field, f"{parameter.label} cannot be read on a diluted sample"))
        factor = Decimal(1)
    plus_minus = _number(given.get("plus_minus"), limits.PLUS_MINUS, f"{field}.plus_minus", found)
    method = _choice(given.get("method"), METHODS, f"{field}.method", found)
    bound = _choice(given.get("bound"), BOUNDS, f"{field}.bound", found)
    at = _time(given.get("at"), f"{field}.at", found)
    typed = _value(given.get("value"), factor, parameter, field, found)
    if found or typed is None:
        errors += found
        return None
    ours = None if plus_minus is None else float(plus_minus)
    return Reading(float(typed), typed, ours, method, at, bound, factor)


def _value(
    raw: Any, factor: Decimal, parameter: Parameter, field: str, errors: list[FieldError]
) -> Decimal | None:
    number = limits.exact_number(raw)
    checked = parameter.check(raw if number is None else number * factor, field)
    if isinstance(checked, FieldError):
        errors.append(checked)
        return None
    return checked


def _number(raw: Any, limit: Limit, field: str, errors: list[FieldError]) -> Decimal | None:
    if raw is None:
        return None
    checked = limit.check(raw, field)
    if isinstance(checked, FieldError):
        errors.append(checked)
        return None
    return checked


def _choice(raw: Any, choices: tuple[str, ...], field: str, errors: list[FieldError]) -> str | None:
    if raw is None:
        return None
    if isinstance(raw, str) and raw in choices:
        return raw
    errors.append(FieldError(field, f"Must be one of {', '.join(choices)}"))
    return None


def _time(raw: Any, field: str, errors: list[FieldError]) -> datetime | None:
    if raw is None:
        return None
    try:
        at = raw if isinstance(raw, datetime) else datetime.fromisoformat(raw)
    except (TypeError, ValueError):
        errors.append(FieldError(field, "Must be a time such as 2026-06-01T09:30:00+01:00"))
        return None
    return at if at.tzinfo else at.replace(tzinfo=UTC)


def _contradictions(readings: Mapping[str, Reading], path: str) -> list[FieldError]:
    free, total = readings.get("free_chlorine_mg_l"), readings.get("total_chlorine_mg_l")
    if not free or not total or total.typed >= free.typed or total.bound == ">" or free.bound == "<":
        return []
    message = (
        f"Total chlorine must be at least the free chlorine, {free.typed} mg/L as Cl2: repeat both tests"
    )
    return [FieldError(f"{path}.total_chlorine_mg_l", message)]
