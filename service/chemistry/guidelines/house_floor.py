"""The floor under every set. It is the product's own choice, has no source, and says so.

A set is full of gaps, and a gap never makes water fit. So under every set the water is closed when
the sanitiser or pH was not measured, when one of the limits below is left, when the water is above
40 °C, and when the inspection says No to clarity, suction cover or electrics.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Final

from .citation import house_rule
from .exact import Limit, as_limit
from .guideline import Guideline
from .in_force import Circumstances, own_maximum
from .parameters import SANITISER_PARAMETER
from .rows import Row

HOUSE_SET: Final = "house_floor"

PH_LOW: Final = Decimal("6.8")
PH_HIGH: Final = Decimal("8.0")
FREE_CHLORINE_LOW_MG_L: Final = Decimal(1)
FREE_CHLORINE_HIGH_MG_L: Final = Decimal(10)
BROMINE_LOW_MG_L: Final = Decimal(2)
BROMINE_HIGH_MG_L: Final = Decimal(10)
TEMPERATURE_HIGH_C: Final = Decimal(40)

QUESTIONS: Final[Mapping[str, str]] = {
    "clarity": "The water is not clear: the bottom cannot be seen",
    "suction_cover": "A suction or drain cover is broken, loose or missing",
    "electrics": "The electrics are not in order",
}
"""Inspection questions whose No closes a spa under every set, with the sentence of that No."""

PATHOGENS: Final = frozenset({"legionella_cfu_l", "pseudomonas_aeruginosa_per_100_ml", "e_coli_per_100_ml"})
"""Organisms whose presence closes a spa when the set has no upper limit for them."""


def floor_rows(guideline: Guideline, circumstances: Circumstances) -> list[Row]:
    """The floor's limits for this spa, as rows that close and nothing else.

    Bromine may go above 10 mg/L where the set's own maximum is higher.
    """
    rows = [
        _row("ph", close_below=PH_LOW, close_above=PH_HIGH),
        _row("temperature_c", close_above=TEMPERATURE_HIGH_C),
    ]
    if circumstances.sanitiser == "chlorine":
        rows.append(_chlorine_row())
    if circumstances.sanitiser == "bromine":
        rows.append(_bromine_row(own_maximum(guideline, circumstances, "total_bromine_mg_l")))
    limited = {row.parameter for row in guideline.rows if row.max is not None or row.close_above is not None}
    return rows + [_row(name, close_above=Decimal(0)) for name in sorted(PATHOGENS - _stated(limited))]


def sanitiser_parameter(sanitiser: str) -> str | None:
    """The reading that must have been made; None for a system no reading of ours judges."""
    return SANITISER_PARAMETER.get(sanitiser)


def _chlorine_row() -> Row:
    return _row("free_chlorine_mg_l", close_below=FREE_CHLORINE_LOW_MG_L, close_above=FREE_CHLORINE_HIGH_MG_L)


def _bromine_row(own: Fraction | None) -> Row:
    highest = BROMINE_HIGH_MG_L if own is None or own <= BROMINE_HIGH_MG_L else as_limit(own)
    return _row("total_bromine_mg_l", close_below=BROMINE_LOW_MG_L, close_above=highest)


def _stated(limited: set[str]) -> set[str]:
    """Parameters with a row, where one organism in another unit counts too."""
    return limited | ({"legionella_cfu_l"} if "legionella_per_100_ml" in limited else set())


def _row(parameter: str, *, close_below: Limit | None = None, close_above: Limit | None = None) -> Row:
    units = {"ph": "pH", "temperature_c": "degC", "legionella_cfu_l": "cfu/L"}
    counted = "cfu/100 mL" if parameter.endswith("_per_100_ml") else "mg/L"
    return Row(
        key=f"{HOUSE_SET}/{parameter}",
        parameter=parameter,
        sanitiser="any",
        unit=units.get(parameter, counted),
        citation=house_rule(),
        close_below=close_below,
        close_above=close_above,
    )
