"""A water from its readings, and every figure of it that is reported.

The names of the whole water model are gathered here: Totals, Water, Equilibrium, solve,
alkalinity_line, water_from_readings, describe.
"""

from __future__ import annotations

from collections.abc import Mapping

from . import units
from .equilibrium import HIGHEST_PH, LOWEST_PH, Equilibrium, alkalinity_line, at_ph, solve
from .errors import FieldError, InputError, refuse
from .readings import PARAMETERS, Reading
from .totals import Totals, Water

__all__ = [
    "Equilibrium",
    "Totals",
    "Water",
    "alkalinity_line",
    "at_ph",
    "describe",
    "solve",
    "water_from_readings",
]

NEEDED = ("temperature_c", "ph", "total_alkalinity_mg_l")
TAKEN_AS_ZERO = (
    "cyanuric_acid_mg_l",
    "borate_mg_l",
    "free_chlorine_mg_l",
    "total_bromine_mg_l",
    "bromide_mg_l",
)
# Stand-ins for readings nobody took: they serve the ionic strength and ion pairs only, and the figure
# itself is reported as not known. Common practice, no source: middling tub water.
HARDNESS, SOLIDS = "calcium_hardness_mg_l", "total_dissolved_solids_mg_l"
STAND_INS = {HARDNESS: 150.0, SOLIDS: 800.0}
BACKGROUND_IONS = {"Na": "na", "K": "k", "Mg": "mg", "Cl": "cl", "SO4": "so4"}
# Above this a water would fizz its gas away at once, so pH and alkalinity cannot both be right.
HIGHEST_LOG10_PCO2_ATM = 1.0


def water_from_readings(
    readings: Mapping[str, Reading],
    *,
    background_mmol_l: Mapping[str, float] | None = None,
    path: str = "readings",
) -> tuple[Water, list[str]]:
    """The water that was read, and the names of what was assumed because nobody read it.

    background_mmol_l   Na, K, Mg, Cl and SO4, [mmol/L], where a supply analysis is known; the charge is
                        then closed with sodium or chloride. Without it the charge is closed the same
                        way and sodium chloride added until the dissolved solids equal their reading.
    path                Where the readings stand in the request, for the errors.

    Dissolved solids below what the other readings add up to are named too: no salt is added then.
    Cyanurate, borate, halogens and bromide that are absent are taken as 0. Absent hardness or dissolved
    solids stay unknown: no saturation index without hardness. Raises InputError where temperature, pH or
    alkalinity is missing, or alkalinity and pH contradict each other.

    >>> from service.chemistry.readings import parse_readings
    >>> read = {"temperature_c": 38, "ph": 7.4, "total_alkalinity_mg_l": 100, "calcium_hardness_mg_l": 150,
    ...         "total_dissolved_solids_mg_l": 800}
    >>> water, assumed = water_from_readings(parse_readings(read))
    >>> round(water.totals.dic * 1000, 3), assumed[:2]
    (2.125, ['cyanuric_acid_mg_l', 'borate_mg_l'])
    """
    _require(readings, path)
    value = {name: reading.value for name, reading in readings.items()}
    absent = [name for name in (*TAKEN_AS_ZERO, *STAND_INS) if name not in readings]
    bounded = [name for name, reading in readings.items() if reading.bound and name in _USED]
    totals = _close(_measured(value), value, background_mmol_l)
    if not background_mmol_l and value.get(SOLIDS, STAND_INS[SOLIDS]) < _dissolved_mg_l(totals) - 1e-6:
        bounded.append(SOLIDS)
    temperature_c = value["temperature_c"]
    found = at_ph(totals, temperature_c, value["ph"], carbon_from_alkalinity=True)
    _check_carbon(found, path)
    water = Water(
        totals.plus({"dic": found.dissolved_inorganic_carbon}),
        temperature_c,
        value.get(SOLIDS, STAND_INS[SOLIDS]),
        frozenset(name for name in absent if name in STAND_INS),
    )
    missing_ions = [ion for ion in BACKGROUND_IONS if background_mmol_l and ion not in background_mmol_l]
    assumed = [*absent, *bounded, *(f"background_mmol_l.{ion}" for ion in missing_ions)]
    return water, assumed


_USED = frozenset((*NEEDED, *TAKEN_AS_ZERO, *STAND_INS, "sulfate_mg_l"))


def _require(readings: Mapping[str, Reading], path: str) -> None:
    missing = [
        FieldError(f"{path}.{name}", f"{PARAMETERS[name].label} is needed")
        for name in NEEDED
        if name not in readings
    ]
    if missing:
        raise InputError(missing)
    if not LOWEST_PH <= readings["ph"].value <= HIGHEST_PH:
        raise refuse(
            f"{path}.ph", f"Water can be worked out for a pH from {LOWEST_PH:g} to {HIGHEST_PH:g} only"
        )


def _measured(value: Mapping[str, float]) -> Totals:
    """Totals of what the readings say; carbon and the unmeasured salts come later."""

    def moles(name: str, g_mol: float) -> float:
        return value.get(name, 0.0) / g_mol / 1000

    hardness = value.get(HARDNESS, STAND_INS[HARDNESS])
    return Totals(
        alkalinity=value["total_alkalinity_mg_l"] / units.ALKALINITY_MG_PER_EQ,
        ca=hardness / units.CALCIUM_CARBONATE_G_MOL / 1000,
        so4=moles("sulfate_mg_l", units.SULFATE_G_MOL),
        br=moles("bromide_mg_l", units.BROMIDE_G_MOL),
        borate=moles("borate_mg_l", units.BORON_G_MOL),
        cyanurate=moles("cyanuric_acid_mg_l", units.CYANURIC_ACID_G_MOL),
        chlorine_i=moles("free_chlorine_mg_l", units.CHLORINE_G_MOL),
        bromine_i=moles("total_bromine_mg_l", units.BROMINE_G_MOL),
    )


def _close(totals: Totals, value: Mapping[str, float], background: Mapping[str, float] | None) -> Totals:
    """Totals with the unmeasured salts: charge closed with Na or Cl, then NaCl up to the solids."""
    if background:
        ions = {BACKGROUND_IONS[ion]: amount / 1000 for ion, amount in background.items()}
        totals = totals.plus({name: amount - getattr(totals, name) for name, amount in ions.items()})
    short = totals.alkalinity - totals.strong_ion_difference
    totals = totals.plus({"na": short} if short > 0 else {"cl": -short})
    if background:
        return totals
    solids = value.get(SOLIDS, STAND_INS[SOLIDS])
    missing = max(solids - _dissolved_mg_l(totals), 0.0) / units.SODIUM_CHLORIDE_G_MOL / 1000
    return totals.plus({"na": missing, "cl": missing})


def _dissolved_mg_l(totals: Totals) -> float:
    """Mass of what is known to be dissolved, [mg/L]; all alkalinity is counted as bicarbonate."""
    return 1000 * (
        totals.ca * units.CALCIUM_G_MOL
        + totals.na * units.SODIUM_G_MOL
        + totals.cl * units.CHLORIDE_G_MOL
        + totals.br * units.BROMIDE_G_MOL
        + totals.so4 * units.SULFATE_G_MOL
        + totals.alkalinity * units.BICARBONATE_G_MOL
        + totals.borate * units.BORIC_ACID_G_MOL
        + totals.cyanurate * units.CYANURIC_ACID_G_MOL
        + totals.chlorine_i * units.HYPOCHLOROUS_ACID_G_MOL
        + totals.bromine_i * units.HYPOBROMOUS_ACID_G_MOL
    )


def _check_carbon(found: Equilibrium, path: str) -> None:
    """Refuse an alkalinity that this pH cannot have."""
    pressure = found.log10_pco2_atm
    if pressure is None:
        held = found.result.other_alkalinity * units.ALKALINITY_MG_PER_EQ
        raise refuse(
            f"{path}.total_alkalinity_mg_l",
            f"Cyanurate, borate, halogens and hydroxide alone hold {held:.0f} mg/L as CaCO3 at this pH; "
            "total alkalinity must be above that: retest both",
        )
    if pressure > HIGHEST_LOG10_PCO2_ATM:
        raise refuse(
            f"{path}.total_alkalinity_mg_l",
            "Total alkalinity this high is impossible at this pH: the water would fizz. Retest both",
        )


def describe(water: Water, *, near_ph: float = 7.5, field: str = "readings") -> dict[str, float | None]:
    """Every reported figure of a water, in the contract's order; None where it is not known.

    near_ph   A guess at the pH. field: where to lay the blame if no pH from 2 to 12 fits.

    >>> figures = describe(Water(Totals(alkalinity=0.002, dic=0.0021, na=0.002), 38.0, 170.0))
    >>> round(figures["ph"], 2), figures["saturation_index"]
    (7.55, None)
    """
    return figures(water, solve(water, near_ph=near_ph, field=field))


def figures(water: Water, found: Equilibrium) -> dict[str, float | None]:
    """The figures of a water whose equilibrium is at hand; see `describe`.

    >>> water = Water(Totals(alkalinity=0.002, dic=0.0021, na=0.002), 38.0, 170.0)
    >>> figures(water, solve(water)) == describe(water)
    True
    """
    totals, chlorine = water.totals, 1000 * units.CHLORINE_G_MOL
    hardness: float | None = totals.ca * units.CALCIUM_CARBONATE_G_MOL * 1000
    solids: float | None = water.total_dissolved_solids_mg_l
    index = found.saturation_index
    if HARDNESS in water.not_known:
        hardness = index = None
    if SOLIDS in water.not_known:
        solids = None
    return {
        "temperature_c": water.temperature_c,
        "ph": found.ph,
        "total_alkalinity_mg_l": totals.alkalinity * units.ALKALINITY_MG_PER_EQ,
        "carbonate_alkalinity_mg_l": found.carbonate_alkalinity * units.ALKALINITY_MG_PER_EQ,
        "dissolved_inorganic_carbon_mmol_l": totals.dic * 1000,
        "calcium_hardness_mg_l": hardness,
        "cyanuric_acid_mg_l": totals.cyanurate * units.CYANURIC_ACID_G_MOL * 1000,
        "borate_mg_l": totals.borate * units.BORON_G_MOL * 1000,
        "free_chlorine_mg_l": totals.chlorine_i * chlorine,
        "hypochlorous_acid_mg_l": found.hypochlorous_acid * chlorine,
        "hypochlorite_mg_l": found.hypochlorite * chlorine,
        "total_bromine_mg_l": totals.bromine_i * units.BROMINE_G_MOL * 1000,
        "hypobromous_acid_mg_l": found.hypobromous_acid * units.BROMINE_G_MOL * 1000,
        "bromide_mg_l": totals.br * units.BROMIDE_G_MOL * 1000,
        "total_dissolved_solids_mg_l": solids,
        "saturation_index": index,
        "log10_pco2_atm": found.log10_pco2_atm,
    }
