"""The largest single dose of each substance, and the largest change one dose may make.

A dose above either is split into several, with a retest between them. The figures are the house's
own, set below what common practice and labels allow; a product label that says less wins.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from service.chemistry.treatment.pairs import COMMON_PRACTICE
from service.chemistry.units import BROMINE_G_MOL, CHLORINE_G_MOL

HOUSE_RULE: Final = f"house rule, {COMMON_PRACTICE}"


@dataclass(frozen=True)
class Cap:
    """The largest single dose, [g of product per m3], and who says so."""

    g_per_m3: float
    source: str


# Grams of the substance, as bought, per cubic metre of water.
MOST_AS_BOUGHT_G_M3: Final[dict[str, float]] = {
    "sodium_bicarbonate": 85.0,
    "sodium_carbonate": 20.0,
    "sodium_bisulfate": 20.0,
    "calcium_chloride_anhydrous": 110.0,
    "calcium_chloride_dihydrate": 150.0,
    "borax_decahydrate": 20.0,
    "sodium_thiosulfate_pentahydrate": 9.0,
    "potassium_monopersulfate": 60.0,
    "sodium_bromide": 30.0,
}
# Grams of the pure substance per cubic metre: strengths differ too much for a figure as bought.
# 20 mL of 31 % hydrochloric acid, density 1.16 g/mL, holds 7.2 g of acid.
# Sulfite and peroxide are held to what 9 g/m3 of thiosulfate destroys at most, 10.3 mg/L of chlorine.
MOST_PURE_G_M3: Final[dict[str, float]] = {
    "hydrochloric_acid": 7.2,
    "sodium_sulfite": 18.2,
    "hydrogen_peroxide": 4.9,
}
MOST_CHLORINE_MG_L: Final = 10.0
MOST_BROMINE_MG_L: Final = 10.0
CHLORINE_MOL_PER_MOL: Final[dict[str, float]] = {
    "sodium_hypochlorite": 1,
    "calcium_hypochlorite": 2,
    "lithium_hypochlorite": 1,
    "dichlor_dihydrate": 2,
    "dichlor_anhydrous": 2,
    "trichlor": 3,
}

# The largest change one dose may make; more is split with a retest between.
MOST_PH: Final = 0.4
MOST_ALKALINITY_MG_L: Final = 50.0
MOST_HARDNESS_MG_L: Final = 100.0

# Above these a halogen bleaches or shifts the pH indicator: no pH dose on such a reading.
PH_NOT_TRUSTED_ABOVE_CHLORINE_MG_L: Final = 10.0
PH_NOT_TRUSTED_ABOVE_BROMINE_MG_L: Final = 20.0

MOST_BREAKPOINT_MG_L: Final = 20.0
MOST_BREAKPOINT_IN_WOOD_MG_L: Final = 10.0


def largest_dose(
    substance: str, *, molar_mass_g_mol: float, active_fraction: float, label_max_g_per_m3: float | None
) -> Cap:
    """The largest single dose of a product, [g of product per m3].

    active_fraction      Share of the product that is the substance, > 0 to 1.
    label_max_g_per_m3   What the label allows, None where it says nothing.

    >>> largest_dose("sodium_carbonate", molar_mass_g_mol=105.99, active_fraction=0.99,
    ...              label_max_g_per_m3=12.0)
    Cap(g_per_m3=12.0, source='product label')
    """
    caps = [Cap(_house_cap(substance, molar_mass_g_mol, active_fraction), HOUSE_RULE)]
    if label_max_g_per_m3 is not None:
        caps.insert(0, Cap(label_max_g_per_m3, "product label"))
    return min(caps, key=lambda cap: cap.g_per_m3)


def _house_cap(substance: str, molar_mass_g_mol: float, active_fraction: float) -> float:
    if substance in MOST_AS_BOUGHT_G_M3:
        return MOST_AS_BOUGHT_G_M3[substance]
    if substance in MOST_PURE_G_M3:
        return MOST_PURE_G_M3[substance] / active_fraction
    if substance in CHLORINE_MOL_PER_MOL:
        chlorine_share = CHLORINE_MOL_PER_MOL[substance] * CHLORINE_G_MOL / molar_mass_g_mol
        return MOST_CHLORINE_MG_L / (chlorine_share * active_fraction)
    if substance == "bcdmh":
        # Both halogens count once the bromide bank has turned the chlorine into bromine.
        return MOST_BROMINE_MG_L / (2 * BROMINE_G_MOL / molar_mass_g_mol * active_fraction)
    return float("inf")
