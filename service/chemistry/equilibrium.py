"""Equilibrium of a water: its pH from its totals, by a bracketed root finder that cannot fail."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import log10

from .constants import TEMPERATURE_DEPENDENT, CyanurateSet, EquilibriumConstants, constants_at
from .errors import refuse
from .mass_action import Free, Result, speciate
from .totals import Totals, Water
from .units import ALKALINITY_MG_PER_EQ

LOWEST_PH = 2.0
HIGHEST_PH = 12.0
ALKALINITY_TOLERANCE_EQ_L = 1e-11
LOG_PRESSURE_TOLERANCE = 1e-9
SECANT_STEPS = 12
MOST_STEPS = 80
LN10 = 2.302585092994046


@dataclass(frozen=True, slots=True)
class Equilibrium:
    """The species of a water at its pH; molalities, [mol/kg], read as mol/L.

    totals   Holds the dissolved inorganic carbon and alkalinity that belong to this pH.
    """

    totals: Totals
    temperature_c: float
    ph: float
    constants: EquilibriumConstants
    result: Result

    @property
    def alkalinity(self) -> float:
        """Alkalinity that the totals have at this pH, [eq/L]; equals totals.alkalinity once solved."""
        return self.carbonate_alkalinity + self.result.other_alkalinity

    @property
    def carbonate_alkalinity(self) -> float:
        """Bicarbonate and twice carbonate with their pairs, [eq/L]; no hydroxide, no hydrogen ion."""
        return self.result.free.carbonate * self.result.bound_alkalinity

    @property
    def dissolved_inorganic_carbon(self) -> float:
        """Carbon dioxide, bicarbonate, carbonate and their pairs, [mol/L]."""
        return self.result.free.carbonate * self.result.bound_carbon

    @property
    def ionic_strength(self) -> float:
        """Ionic strength, [mol/kg]."""
        return self.result.free.ionic_strength

    @property
    def hypochlorous_acid(self) -> float:
        """Free HOCl, [mol/L]: not bound to cyanurate, not dissociated."""
        return self.result.free.hypochlorous_acid

    @property
    def hypochlorite(self) -> float:
        """Free OCl-, [mol/L]."""
        return self.result.free.hypochlorous_acid * self.result.ratios.hypochlorite

    @property
    def hypobromous_acid(self) -> float:
        """HOBr, [mol/L]."""
        return self.result.weak_acids.hypobromous_acid

    @property
    def log10_pco2_atm(self) -> float | None:
        """Pressure of carbon dioxide the water is in balance with, [log10 atm]; None without carbon."""
        dissolved = self.result.free.carbonate * self.result.ratios.carbon_dioxide
        if dissolved <= 0:
            return None
        return log10(dissolved * self.result.coefficients.neutral / self.constants.carbon_dioxide_gas)

    @property
    def saturation_index(self) -> float | None:
        """log10 of the calcite saturation, dimensionless; None without calcium or carbonate.

        Above 0 the water can lay down scale, below 0 it can dissolve it.
        """
        free, g = self.result.free, self.result.coefficients
        product = free.calcium * g.calcium * free.carbonate * g.carbonate_size_1**4
        return log10(product / self.constants.calcite) if product > 0 else None

    @property
    def buffer_capacity(self) -> float:
        """Alkalinity needed per unit of pH, [eq/L], with pairs and activities frozen: a first slope."""
        r, t, acids = self.result.ratios, self.totals, self.result.weak_acids
        co2, hco3 = r.carbon_dioxide, r.bicarbonate
        share = (co2 * hco3 + 4 * co2 + hco3) / (co2 + hco3 + 1) ** 2
        weak = sum(
            amount * ratio / (1 + ratio) ** 2
            for amount, ratio in (
                (t.borate, r.borate),
                (t.chlorine_i, r.hypochlorite),
                (t.bromine_i, r.hypobromite),
                (t.dmh, r.dimethylhydantoin),
            )
        )
        rings = 0.2 * min(t.cyanurate, acids.charge_1)
        water = r.hydrogen + r.hydroxide
        return LN10 * (water + self.dissolved_inorganic_carbon * share + weak + rings)


def at_ph(
    totals: Totals,
    temperature_c: float,
    ph: float,
    *,
    carbon_from_alkalinity: bool = False,
    start: Free | None = None,
    cyanurate_set: CyanurateSet = TEMPERATURE_DEPENDENT,
) -> Equilibrium:
    """The species at a given pH, 2 to 12, from the carbon or from the alkalinity of the totals.

    start   Free ions of a nearby answer, to save passes.

    >>> water = Totals(alkalinity=0.002, na=0.002)
    >>> found = at_ph(water, 25.0, 8.0, carbon_from_alkalinity=True)
    >>> round(found.dissolved_inorganic_carbon * 1000, 2)
    2.03
    """
    k = constants_at(temperature_c, cyanurate_set)
    result = speciate(
        totals,
        k,
        temperature_c,
        10.0**-ph,
        start=start,
        carbon_from_alkalinity=carbon_from_alkalinity,
    )
    return Equilibrium(totals, temperature_c, ph, k, result)


def rising_root(
    residual: Callable[[float], float], start: float, slope: Callable[[], float], tolerance: float
) -> float | None:
    """The pH from 2 to 12 at which a strictly rising residual is zero; None if it has no zero there.

    slope   Derivative at the last pH tried, used for the first step only. Secant steps stay inside a
    bracket that shrinks on every evaluation; a step outside it, or any after the twelfth, is a
    bisection.

    >>> round(rising_root(lambda ph: ph**3 - 343, 8.0, lambda: 192.0, 1e-9), 6)
    7.0
    """
    low, high = LOWEST_PH, HIGHEST_PH
    ph, value = start, residual(start)
    step = -value / slope() if value else 0.0
    for count in range(MOST_STEPS):
        if abs(value) <= tolerance:
            return ph
        if value < 0:
            low = ph
        else:
            high = ph
        following = ph + step
        if not low < following < high or count > SECANT_STEPS:
            following = 0.5 * (low + high)
        if following in (low, high):
            break
        before, ph, previous = value, following, ph
        value = residual(ph)
        rise = value - before
        step = -value * (ph - previous) / rise if rise else 0.0
    return ph if LOWEST_PH + 1e-9 < ph < HIGHEST_PH - 1e-9 else None


def solve(
    water: Water,
    *,
    near_ph: float = 7.5,
    field: str = "readings",
    cyanurate_set: CyanurateSet = TEMPERATURE_DEPENDENT,
) -> Equilibrium:
    """The equilibrium of a water: the pH at which its totals hold their alkalinity.

    near_ph   A guess. field: where to lay the blame. Never fails for totals that a pH from 2 to 12 can
    hold; raises InputError at `field` for others.

    >>> water = Water(Totals(alkalinity=0.002, dic=0.0021, na=0.002), 38.0, 170.0)
    >>> round(solve(water).ph, 2)
    7.55
    """
    totals, temperature_c = water.totals, water.temperature_c
    found: Equilibrium | None = None

    def residual(ph: float) -> float:
        nonlocal found
        near = found.result.free if found else None
        found = at_ph(totals, temperature_c, ph, start=near, cyanurate_set=cyanurate_set)
        return found.alkalinity - totals.alkalinity

    def slope() -> float:
        return found.buffer_capacity if found else 1.0

    if rising_root(residual, near_ph, slope, ALKALINITY_TOLERANCE_EQ_L) is None or found is None:
        raise refuse(field, _out_of_reach(totals))
    return found


def solve_at_pco2(water: Water, *, log10_pco2_atm: float, near_ph: float = 8.0) -> Equilibrium | None:
    """The equilibrium after gas exchange at fixed alkalinity; its totals hold the new carbon.

    log10_pco2_atm   Pressure of carbon dioxide in the air, [log10 atm]. Returns None where no pH from
    2 to 12 can be in balance with it.

    >>> water = Water(Totals(alkalinity=0.002, dic=0.0021, na=0.002), 25.0, 170.0)
    >>> round(solve_at_pco2(water, log10_pco2_atm=-3.38).ph, 2)
    8.46
    """
    found: Equilibrium | None = None

    def residual(ph: float) -> float:
        nonlocal found
        near = found.result.free if found else None
        found = at_ph(water.totals, water.temperature_c, ph, start=near, carbon_from_alkalinity=True)
        pressure = found.log10_pco2_atm
        return HIGHEST_PH if pressure is None else log10_pco2_atm - pressure

    if rising_root(residual, near_ph, lambda: 1.0, LOG_PRESSURE_TOLERANCE) is None or found is None:
        return None
    dic = found.dissolved_inorganic_carbon
    totals = found.totals.plus({"dic": dic - found.totals.dic})
    return Equilibrium(totals, found.temperature_c, found.ph, found.constants, found.result)


def alkalinity_line(water: Water, ph: float) -> tuple[float, float]:
    """How alkalinity follows carbon at a fixed pH, with activities and free ions frozen.

    Returns (o, q): alkalinity = o + q x DIC, o in [eq/L], q in [eq/mol]. "The pH is at least `ph`" is
    then the linear condition alkalinity - q x DIC >= o.

    >>> water = Water(Totals(alkalinity=0.002, dic=0.0021, na=0.002), 38.0, 170.0)
    >>> o, q = alkalinity_line(water, 7.4)
    >>> round(q, 3)
    0.931
    """
    result = at_ph(water.totals, water.temperature_c, ph).result
    return result.other_alkalinity, result.bound_alkalinity / result.bound_carbon


def _out_of_reach(totals: Totals) -> str:
    ta = totals.alkalinity * ALKALINITY_MG_PER_EQ
    return (
        f"The water would lie outside pH 2 to 12 (total alkalinity {ta:.0f} mg/L as CaCO3): "
        "check the amount and the volume"
    )
