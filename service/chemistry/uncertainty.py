"""How far a reading may be off, and what one strip pad says in the other halogen.

The ± belongs to the method unless the instrument states its own. A limit is judged on the reading
as it stands; the ± only says when a limit is too close to tell.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final

from .units import BROMINE_G_MOL, CHLORINE_G_MOL

BROMINE_PER_CHLORINE: Final = Fraction(repr(BROMINE_G_MOL)) / Fraction(repr(CHLORINE_G_MOL))
"""Br2 over Cl2 by molar mass, 159.808 / 70.906 exactly (IUPAC/CIAAW abridged atomic weights, 2021)."""


@dataclass(frozen=True)
class Error:
    """Half width of a reading's error: a fixed part in the parameter's unit plus a share of the value."""

    fixed: float = 0.0
    share: float = 0.0

    def of(self, value: float) -> float:
        """The half width at this value, in the parameter's unit."""
        return self.fixed + self.share * abs(value)


# From memory: photometer pH 0.1, free chlorine 0.1 + 5 %, alkalinity and hardness 10 %; strip pH 0.4,
# free chlorine 30 %, alkalinity 40 mg/L; drops: one drop. Own choice, no source: the same figures for
# total chlorine, bromine (times 159.808/70.906), cyanurate and borate, a thermometer and an electrode;
# the size of one drop for kits of 10 mL; a laboratory is taken no better than a photometer until its
# report says so.
_PHOTOMETER: Final[Mapping[str, Error]] = {
    "ph": Error(0.1),
    "free_chlorine_mg_l": Error(0.1, 0.05),
    "total_chlorine_mg_l": Error(0.1, 0.05),
    "total_bromine_mg_l": Error(0.1 * float(BROMINE_PER_CHLORINE), 0.05),
    "total_alkalinity_mg_l": Error(0.0, 0.1),
    "calcium_hardness_mg_l": Error(0.0, 0.1),
    "cyanuric_acid_mg_l": Error(0.0, 0.1),
    "borate_mg_l": Error(0.0, 0.1),
}
_ELECTRODE: Final[Mapping[str, Error]] = {
    "ph": Error(0.1),
    "temperature_c": Error(0.5),
    "total_dissolved_solids_mg_l": Error(0.0, 0.1),
    "orp_mv": Error(20.0),
}
METHODS: Final[Mapping[str, Mapping[str, Error]]] = {
    "photometer": _PHOTOMETER,
    "drops": {
        "ph": Error(0.2),
        "free_chlorine_mg_l": Error(0.5),
        "total_chlorine_mg_l": Error(0.5),
        "total_bromine_mg_l": Error(0.5 * float(BROMINE_PER_CHLORINE)),
        "total_alkalinity_mg_l": Error(10.0),
        "calcium_hardness_mg_l": Error(10.0),
        "cyanuric_acid_mg_l": Error(10.0),
    },
    "strip": {
        "ph": Error(0.4),
        "free_chlorine_mg_l": Error(0.0, 0.3),
        "total_chlorine_mg_l": Error(0.0, 0.3),
        "total_bromine_mg_l": Error(0.0, 0.3),
        "total_alkalinity_mg_l": Error(40.0),
        "calcium_hardness_mg_l": Error(40.0),
        "cyanuric_acid_mg_l": Error(0.0, 0.3),
    },
    "electrode": _ELECTRODE,
    "laboratory": {**_PHOTOMETER, **_ELECTRODE},
}


def plus_minus(parameter: str, value: float, method: str | None, given: float | None = None) -> float:
    """Half width of the error of a reading, in the parameter's unit, 0 or more.

    parameter  Name of the reading, such as "free_chlorine_mg_l".
    value      The reading, in the unit of its name.
    method     "strip", "drops", "photometer", "electrode", "laboratory" or None.
    given      The instrument's own figure; where it is stated it is taken as it is.

    0.0 means "not known": no error is made up for an unnamed method or an unlisted parameter.

    >>> plus_minus("free_chlorine_mg_l", 3.0, "photometer")
    0.25
    >>> plus_minus("ph", 7.4, "strip"), plus_minus("ph", 7.4, "strip", given=0.2), plus_minus("ph", 7.4, None)
    (0.4, 0.2, 0.0)
    """
    if given is not None:
        return given
    error = METHODS.get(method or "", {}).get(parameter)
    return 0.0 if error is None else error.of(value)


@dataclass(frozen=True)
class PadReading:
    """What one strip pad says of the spa's own halogen.

    parameter  "free_chlorine_mg_l" or "total_bromine_mg_l", as the system in use asks.
    value      In mg/L of that halogen.
    converted  Whether the number was read on the other halogen's scale.
    note       Sentence for the record, "" when nothing was converted.
    """

    parameter: str
    value: Decimal
    converted: bool
    note: str


def strip_pad(value: Decimal, *, scale: str, sanitiser: str) -> PadReading:
    """A number read on a strip's pad, turned into the halogen the spa runs on.

    A strip reads chlorine and bromine on one pad, with one printed scale or two.

    value      As read, [mg/L on the printed scale].
    scale      "chlorine" or "bromine", the scale it was read on.
    sanitiser  "chlorine" or "bromine", the system in use.

    >>> strip_pad(Decimal("3"), scale="chlorine", sanitiser="bromine").note
    'Read as 3 mg/L on the chlorine scale of the strip, converted to 6.76 mg/L bromine (159.808/70.906).'
    """
    parameters = {"chlorine": "free_chlorine_mg_l", "bromine": "total_bromine_mg_l"}
    if scale not in parameters or sanitiser not in parameters:
        raise ValueError("scale and sanitiser must be chlorine or bromine")
    if scale == sanitiser:
        return PadReading(parameters[sanitiser], value, converted=False, note="")
    bromine = sanitiser == "bromine"
    exact = Fraction(value) * (BROMINE_PER_CHLORINE if bromine else 1 / BROMINE_PER_CHLORINE)
    converted = Decimal(exact.numerator) / Decimal(exact.denominator)
    factor = "159.808/70.906" if bromine else "70.906/159.808"
    note = (
        f"Read as {value} mg/L on the {scale} scale of the strip, converted to"
        f" {converted:.2f} mg/L {sanitiser} ({factor})."
    )
    return PadReading(parameters[sanitiser], converted, converted=True, note=note)
