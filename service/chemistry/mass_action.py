"""One pass of the mass-action laws at a fixed pH, and its repetition until nothing changes.

Everything is a ratio to a free ion: with the hydrogen-ion activity fixed and the activity
coefficients taken from the last pass, each pair or acid is a conditional constant times the free
ions, so that a pass is plain arithmetic. Only the ionic strength and the free metals and sulfate
feed back into the next pass.
"""

from __future__ import annotations

from typing import NamedTuple

from .activity import Coefficients, activity_coefficients, debye_huckel
from .constants import EquilibriumConstants
from .cyanurate import Binding, binding, free_hypochlorous_acid
from .totals import Totals

CONVERGED = 1e-12
MOST_PASSES = 400
# Far beyond any water the equations were made for; a root finder may pass through such points, and must
# come back from them.
STRONGEST_MOL_KG = 2.0
DRIEST = 0.5


class Ratios(NamedTuple):
    """Conditional constants at one pH and ionic strength, in molalities.

    hydrogen, hydroxide: molalities. bicarbonate, carbon_dioxide: per CO3-2. The pairs: per product of
    free ions (calcium_bicarbonate per Ca+2 and CO3-2; sodium_bicarbonate per Na+ and CO3-2).
    hydrogen_sulfate per SO4-2; the hydroxides per metal; the anions of weak acids per neutral acid.
    """

    hydrogen: float
    hydroxide: float
    bicarbonate: float
    carbon_dioxide: float
    calcium_carbonate: float
    calcium_bicarbonate: float
    magnesium_carbonate: float
    magnesium_bicarbonate: float
    sodium_carbonate: float
    sodium_bicarbonate: float
    calcium_sulfate: float
    magnesium_sulfate: float
    sodium_sulfate: float
    potassium_sulfate: float
    hydrogen_sulfate: float
    calcium_hydroxide: float
    magnesium_hydroxide: float
    borate: float
    hypochlorite: float
    hypobromite: float
    dimethylhydantoin: float


def ratios(k: EquilibriumConstants, g: Coefficients, hydrogen: float, water: float) -> Ratios:
    """Conditional constants from activities of the hydrogen ion and of water, dimensionless."""
    carbonate = g.carbonate_size_1**4
    bicarbonate = k.bicarbonate * hydrogen * carbonate / g.carbonate_size_1
    calcium, magnesium, sodium = g.calcium * carbonate, g.magnesium * carbonate, g.sodium
    sulfate = g.sulfate
    acid = g.neutral / (hydrogen * g.davies_1)
    return Ratios(
        hydrogen / g.hydrogen,
        k.water * water / (hydrogen * g.hydroxide),
        bicarbonate,
        k.carbon_dioxide * hydrogen * hydrogen * carbonate / (g.neutral * water),
        k.calcium_carbonate * calcium / g.neutral,
        k.calcium_bicarbonate * calcium * hydrogen / g.calcium_bicarbonate,
        k.magnesium_carbonate * magnesium / g.neutral,
        k.magnesium_bicarbonate * magnesium * hydrogen / g.magnesium_bicarbonate,
        k.sodium_carbonate * sodium * carbonate / g.davies_1,
        k.sodium_bicarbonate * sodium * g.carbonate_size_1 * bicarbonate / g.neutral,
        k.calcium_sulfate * g.calcium * sulfate / g.neutral,
        k.magnesium_sulfate * g.magnesium * sulfate / g.neutral,
        k.sodium_sulfate * sodium * sulfate / g.carbonate_size_1,
        k.potassium_sulfate * g.potassium * sulfate / g.carbonate_size_1,
        k.hydrogen_sulfate * hydrogen * sulfate / g.davies_1,
        k.calcium_hydroxide * water * g.calcium / (hydrogen * g.davies_1),
        k.magnesium_hydroxide * water * g.magnesium / (hydrogen * g.magnesium_hydroxide),
        k.boric_acid * acid,
        k.hypochlorous_acid * acid,
        k.hypobromous_acid * acid,
        k.dimethylhydantoin * acid,
    )


class Free(NamedTuple):
    """Free ions and ionic strength, [mol/kg], and activity of water: what one pass hands to the next."""

    ionic_strength: float
    water: float
    carbonate: float
    calcium: float
    magnesium: float
    sodium: float
    potassium: float
    sulfate: float
    hypochlorous_acid: float


class WeakAcids(NamedTuple):
    """The acids other than carbonic, [mol/kg]: anions by charge, their alkalinity, neutral species."""

    charge_1: float
    charge_2: float
    charge_3: float
    alkalinity: float
    neutral: float
    hypochlorous_acid: float
    hypobromous_acid: float


class Result(NamedTuple):
    """A speciation at one pH, [mol/kg].

    bound_carbon, bound_alkalinity   Carbon and carbonate alkalinity per mole of free carbonate ion.
    other_alkalinity                 Alkalinity that is not carbonate, [eq/kg].
    """

    free: Free
    ratios: Ratios
    coefficients: Coefficients
    weak_acids: WeakAcids
    bound_carbon: float
    bound_alkalinity: float
    other_alkalinity: float


def first_guess(totals: Totals) -> Free:
    """A start for the passes: every ion free."""
    t = totals
    strength = 0.5 * (t.na + t.k + t.cl + t.br + t.li + abs(t.alkalinity)) + 2 * (t.ca + t.mg + t.so4)
    return Free(min(max(strength, 1e-6), STRONGEST_MOL_KG), 1.0, 0.0, t.ca, t.mg, t.na, t.k, t.so4, 0.0)


def weak_acids(totals: Totals, r: Ratios, rings: Binding, near: float) -> WeakAcids:
    """Borate, hypochlorite, hypobromite, dimethylhydantoin and the cyanurates."""
    free = free_hypochlorous_acid(
        rings,
        cyanurate=totals.cyanurate,
        chlorine=totals.chlorine_i,
        hypochlorite_ratio=r.hypochlorite,
        near=near,
    )
    hypobromous = totals.bromine_i / (1.0 + r.hypobromite)
    boric = totals.borate / (1.0 + r.borate)
    hydantoin = totals.dmh / (1.0 + r.dimethylhydantoin)
    simple_anions = (
        r.hypochlorite * free
        + totals.bromine_i
        - hypobromous
        + totals.borate
        - boric
        + totals.dmh
        - hydantoin
    )
    neutral = free + hypobromous + boric + hydantoin + totals.peroxide
    if totals.cyanurate == 0.0:
        return WeakAcids(simple_anions, 0.0, 0.0, simple_anions, neutral, free, hypobromous)
    ring = totals.cyanurate / (rings.all_0 + free * (rings.all_1 + free * (rings.all_2 + free * rings.all_3)))
    one = ring * (rings.minus1[0] + free * (rings.minus1[1] + free * rings.minus1[2]))
    two = ring * (rings.minus2[0] + free * rings.minus2[1])
    three = ring * rings.minus3
    alkalinity = simple_anions + one + 2 * two + 3 * three
    neutral += totals.cyanurate - one - two - three
    return WeakAcids(simple_anions + one, two, three, alkalinity, neutral, free, hypobromous)


def _ionic_sums(t: Totals, r: Ratios, f: Free, acids: WeakAcids) -> tuple[float, float]:
    """Ionic strength and activity of water of a distribution."""
    co3, ca, mg, na, so4 = f.carbonate, f.calcium, f.magnesium, f.sodium, f.sulfate
    metal_hydroxides = ca * r.calcium_hydroxide + mg * r.magnesium_hydroxide
    singles = (
        r.hydrogen
        + r.hydroxide
        + co3
        * (
            r.bicarbonate
            + ca * r.calcium_bicarbonate
            + mg * r.magnesium_bicarbonate
            + na * r.sodium_carbonate
        )
        + so4 * (r.hydrogen_sulfate + na * r.sodium_sulfate + f.potassium * r.potassium_sulfate)
        + metal_hydroxides
        + (na + f.potassium + t.cl + t.br + t.li + t.hso5)
        + acids.charge_1
    )
    doubles = co3 + ca + mg + so4 + t.thiosulfate + acids.charge_2
    neutral = (
        co3
        * (
            r.carbon_dioxide
            + ca * r.calcium_carbonate
            + mg * r.magnesium_carbonate
            + na * r.sodium_bicarbonate
        )
        + so4 * (ca * r.calcium_sulfate + mg * r.magnesium_sulfate)
        + acids.neutral
    )
    strength = 0.5 * singles + 2 * doubles + 4.5 * acids.charge_3
    water = 1.0 - 0.017 * (singles + doubles + acids.charge_3 + neutral)
    return min(strength, STRONGEST_MOL_KG), max(water, DRIEST)


def _free_ions(t: Totals, r: Ratios, f: Free, co3: float) -> tuple[float, float, float, float, float]:
    """Free calcium, magnesium, sodium, potassium and sulfate beside a free carbonate ion."""
    so4 = f.sulfate
    ca = t.ca / (
        1.0
        + co3 * (r.calcium_carbonate + r.calcium_bicarbonate)
        + so4 * r.calcium_sulfate
        + r.calcium_hydroxide
    )
    mg = t.mg / (
        1.0
        + co3 * (r.magnesium_carbonate + r.magnesium_bicarbonate)
        + so4 * r.magnesium_sulfate
        + r.magnesium_hydroxide
    )
    na = t.na / (1.0 + co3 * (r.sodium_carbonate + r.sodium_bicarbonate) + so4 * r.sodium_sulfate)
    k = t.k / (1.0 + so4 * r.potassium_sulfate)
    so4 = t.so4 / (
        1.0
        + r.hydrogen_sulfate
        + ca * r.calcium_sulfate
        + mg * r.magnesium_sulfate
        + na * r.sodium_sulfate
        + k * r.potassium_sulfate
    )
    return ca, mg, na, k, so4


def _carbon_per_carbonate(r: Ratios, f: Free) -> tuple[float, float]:
    """Carbon, and carbonate alkalinity, per mole of free carbonate ion."""
    bicarbonates = (
        r.bicarbonate
        + f.calcium * r.calcium_bicarbonate
        + f.magnesium * r.magnesium_bicarbonate
        + f.sodium * r.sodium_bicarbonate
    )
    carbonates = (
        1.0
        + f.calcium * r.calcium_carbonate
        + f.magnesium * r.magnesium_carbonate
        + f.sodium * r.sodium_carbonate
    )
    return bicarbonates + carbonates + r.carbon_dioxide, bicarbonates + 2 * carbonates


def _other_alkalinity(r: Ratios, f: Free, acids: WeakAcids) -> float:
    """Alkalinity that is not carbonate, [eq/kg]."""
    return (
        r.hydroxide
        - r.hydrogen
        + f.calcium * r.calcium_hydroxide
        + f.magnesium * r.magnesium_hydroxide
        - f.sulfate * r.hydrogen_sulfate
        + acids.alkalinity
    )


def speciate(
    totals: Totals,
    k: EquilibriumConstants,
    temperature_c: float,
    hydrogen: float,
    *,
    start: Free | None = None,
    carbon_from_alkalinity: bool = False,
) -> Result:
    """Every species at a fixed hydrogen-ion activity.

    The free carbonate ion follows from totals.dic or, with `carbon_from_alkalinity`, from
    totals.alkalinity; it is then zero where the other acids hold all the alkalinity there is.
    Repeats until the ionic strength and the carbonate ion change by less than 1e-12 mol/kg:
    at most 12 passes for tub water.
    """
    slopes = debye_huckel(temperature_c)
    free = start or first_guess(totals)
    for _ in range(MOST_PASSES):
        g = activity_coefficients(free.ionic_strength, *slopes)
        r = ratios(k, g, hydrogen, free.water)
        rings = binding(k.cyanurate, hydrogen, g.neutral, g.davies_1)
        acids = weak_acids(totals, r, rings, free.hypochlorous_acid)
        bound_carbon, bound_alkalinity = _carbon_per_carbonate(r, free)
        other = _other_alkalinity(r, free, acids)
        if carbon_from_alkalinity:
            co3 = max(totals.alkalinity - other, 0.0) / bound_alkalinity
        else:
            co3 = totals.dic / bound_carbon
        last = free
        ions = _free_ions(totals, r, free, co3)
        free = Free(free.ionic_strength, free.water, co3, *ions, acids.hypochlorous_acid)
        strength, water = _ionic_sums(totals, r, free, acids)
        free = Free(strength, water, co3, *ions, acids.hypochlorous_acid)
        if abs(strength - last.ionic_strength) + abs(co3 - last.carbonate) < CONVERGED:
            break
    return Result(free, r, g, acids, bound_carbon, bound_alkalinity, other)
