"""The parameters a document may limit, their units, and the units documents print.

Beside what a technician reads there are derived parameters (combined chlorine, shares, the
rise of dissolved solids above the fill water) and laboratory counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True)
class JudgedParameter:
    """Name for people, unit in data files and the unit as it is shown beside a number."""

    label: str
    unit: str
    shown_unit: str


def _parameter(label: str, unit: str, shown_unit: str | None = None) -> JudgedParameter:
    return JudgedParameter(label, unit, unit if shown_unit is None else shown_unit)


PARAMETERS: Mapping[str, JudgedParameter] = {
    "free_chlorine_mg_l": _parameter("Free chlorine", "mg/L"),
    "combined_chlorine_mg_l": _parameter("Combined chlorine", "mg/L"),
    "total_chlorine_mg_l": _parameter("Total chlorine", "mg/L"),
    "total_bromine_mg_l": _parameter("Total bromine", "mg/L"),
    "ph": _parameter("pH", "pH", ""),
    "temperature_c": _parameter("Water temperature", "degC", "°C"),
    "total_alkalinity_mg_l": _parameter("Total alkalinity", "mg/L"),
    "calcium_hardness_mg_l": _parameter("Calcium hardness", "mg/L"),
    "cyanuric_acid_mg_l": _parameter("Cyanuric acid", "mg/L"),
    "total_dissolved_solids_mg_l": _parameter("Total dissolved solids", "mg/L"),
    "total_dissolved_solids_rise_mg_l": _parameter("Total dissolved solids above the fill water", "mg/L"),
    "combined_chlorine_share_of_free": _parameter("Combined chlorine as a share of free", "fraction", ""),
    "combined_chlorine_share_of_total": _parameter("Combined chlorine as a share of total", "fraction", ""),
    "orp_mv": _parameter("Oxidation-reduction potential", "mV"),
    "turbidity_ntu": _parameter("Turbidity", "NTU"),
    "acid_capacity_mmol_l": _parameter("Acid capacity to pH 4.3", "mmol/L"),
    "colony_count_cfu_ml": _parameter("Colony count", "cfu/mL"),
    "total_coliforms_per_100_ml": _parameter("Total coliforms", "cfu/100 mL"),
    "total_coliforms_mpn_per_100_ml": _parameter("Total coliforms, most probable number", "MPN/100 mL"),
    "e_coli_per_100_ml": _parameter("Escherichia coli", "cfu/100 mL"),
    "pseudomonas_aeruginosa_per_100_ml": _parameter("Pseudomonas aeruginosa", "cfu/100 mL"),
    "legionella_cfu_l": _parameter("Legionella", "cfu/L"),
    "legionella_per_100_ml": _parameter("Legionella", "cfu/100 mL"),
}

DOCUMENT_UNITS: Mapping[str, Mapping[str, tuple[Fraction, Fraction]]] = {
    # 1 ppm is read as 1 mg/L: the water is dilute.
    "mg/L": {"mg/L": (Fraction(1), Fraction(0)), "ppm": (Fraction(1), Fraction(0))},
    "degC": {"degC": (Fraction(1), Fraction(0)), "degF": (Fraction(9, 5), Fraction(32))},
}
"""Own unit -> unit a document may print -> (factor, offset) that leads there."""

SHOWN_UNITS: Mapping[str, str] = {"degC": "°C", "degF": "°F", "pH": "", "fraction": ""}

SANITISERS = ("chlorine", "bromine", "other")

SANITISER_PARAMETER: Mapping[str, str] = {"chlorine": "free_chlorine_mg_l", "bromine": "total_bromine_mg_l"}

DISINFECTANT = "disinfectant"
"""What data files write where a duty means the reading of whichever sanitiser the spa runs on."""

MICROBIOLOGY = frozenset(
    {
        "colony_count_cfu_ml",
        "total_coliforms_per_100_ml",
        "total_coliforms_mpn_per_100_ml",
        "e_coli_per_100_ml",
        "pseudomonas_aeruginosa_per_100_ml",
        "legionella_cfu_l",
        "legionella_per_100_ml",
    }
)

KEEPS_PEOPLE_OUT = frozenset(
    {"free_chlorine_mg_l", "total_chlorine_mg_l", "total_bromine_mg_l", "ph", "temperature_c"}
)
"""Own choice, no source: outside its limits one of these is never shown as fit for use."""


def conversion(parameter: str, document_unit: str) -> tuple[Fraction, Fraction] | None:
    """Factor and offset from the parameter's own unit to the document's; None when that unit is unknown.

    >>> factor, offset = conversion("temperature_c", "degF")
    >>> 40 * factor + offset
    Fraction(104, 1)
    """
    own = PARAMETERS[parameter].unit
    same = {own: (Fraction(1), Fraction(0))}
    return DOCUMENT_UNITS.get(own, same).get(document_unit)


def shown_unit(unit: str) -> str:
    """A unit as it stands beside a number on screen.

    >>> shown_unit("degF"), shown_unit("ppm")
    ('°F', 'ppm')
    """
    return SHOWN_UNITS.get(unit, unit)
