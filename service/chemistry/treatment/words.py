"""How figures and parameters are spoken of in steps, reasons and remedies."""

from __future__ import annotations

from typing import Final

LABELS: Final[dict[str, str]] = {
    "ph": "pH",
    "total_alkalinity_mg_l": "Total alkalinity",
    "calcium_hardness_mg_l": "Calcium hardness",
    "cyanuric_acid_mg_l": "Cyanuric acid",
    "free_chlorine_mg_l": "Free chlorine",
    "total_chlorine_mg_l": "Total chlorine",
    "combined_chlorine_mg_l": "Combined chlorine",
    "total_bromine_mg_l": "Bromine",
    "bromide_mg_l": "Bromide",
    "total_dissolved_solids_mg_l": "Total dissolved solids",
    "temperature_c": "Water temperature",
    "saturation_index": "Saturation index",
}
DECIMALS: Final[dict[str, int]] = {
    "ph": 2,
    "free_chlorine_mg_l": 1,
    "total_chlorine_mg_l": 1,
    "combined_chlorine_mg_l": 1,
    "total_bromine_mg_l": 1,
    "bromide_mg_l": 1,
    "temperature_c": 1,
    "saturation_index": 2,
}


def label(parameter: str) -> str:
    """The name of a parameter at the start of a sentence.

    >>> label("ph"), label("orp_mv")
    ('pH', 'Orp mv')
    """
    return LABELS.get(parameter, parameter.replace("_", " ").capitalize())


def amount(parameter: str, value: float) -> str:
    """A figure as it is shown: digits by parameter, unit where it has one.

    >>> amount("ph", 7.4), amount("total_alkalinity_mg_l", 99.6)
    ('7.4', '100 mg/L')
    """
    text = f"{value:.{DECIMALS.get(parameter, 0)}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    if parameter == "temperature_c":
        return f"{text} °C"
    return f"{text} mg/L" if parameter.endswith("_mg_l") else text


def number(parameter: str, value: float) -> str:
    """A figure without its unit.

    >>> number("cyanuric_acid_mg_l", 85.0)
    '85'
    """
    return amount(parameter, value).removesuffix(" mg/L").removesuffix(" °C")


def minutes(total: float) -> str:
    """A span of time in words.

    >>> minutes(30), minutes(150)
    ('30 minutes', '2 h 30 min')
    """
    whole = round(total)
    if whole < 120:
        return f"{whole} minute{'' if whole == 1 else 's'}"
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"
