"""What happens to a water: additions, replacement, heating, air, and the spending of oxidiser.

Every step is a function from one water to another; it only changes totals, so no step can fail to
find an answer except opening to the air. Strong ions and alkalinity change together: charge stays
balanced.
"""

from __future__ import annotations

from dataclasses import replace as with_changes

from .equilibrium import solve_at_pco2
from .errors import refuse
from .substances import OXIDANTS, SUBSTANCES, Substance
from .totals import Totals, Water
from .units import CHLORINE_G_MOL

# What each spent oxidant becomes: HOCl -> H+ + Cl-, HOBr -> H+ + Br-, HSO5- -> H+ + SO4-2.
SPENT_AS = {"chlorine_i": "cl", "bromine_i": "br", "hso5": "so4"}
# S2O3-2 + 4 HOCl + H2O = 2 SO4-2 + 4 Cl- + 6 H+: per oxidant a quarter thiosulfate, half a sulfate,
# 1.5 acid. Beside the tetrathionate path (half an oxidant per thiosulfate) this is the engine's choice.
OXIDANT_PER_THIOSULFATE = 4.0
REDOX = frozenset((*OXIDANTS, "br", "thiosulfate", "peroxide"))


def add(
    water: Water, *, substance: str, mass_g: float, volume_l: float, active_fraction: float = 1.0
) -> Water:
    """The water after a dose has dissolved and, where it can, reacted.

    substance         One of SUBSTANCES; KeyError for another.
    mass_g            Mass of product, [g], >= 0. volume_l: volume of the water, [L], > 0.
    active_fraction   Mass fraction of the substance as named (of the dihydrate for a dihydrate), the
                      rest being water, 0 to 1.

    Bromide is oxidised to bromine at once and completely, by free chlorine first, then by
    monopersulfate; a neutraliser meets free chlorine, then bromine, then monopersulfate. What is left of
    thiosulfate and peroxide stays and meets later doses; leftover sulfite becomes sulfate.

    >>> dosed = add(Water(Totals(), 38.0, 0.0), substance="sodium_bicarbonate", mass_g=84.007, volume_l=1000)
    >>> round(dosed.totals.alkalinity * 1000, 3), round(dosed.total_dissolved_solids_mg_l, 3)
    (1.0, 84.007)
    """
    chosen = SUBSTANCES[substance]
    mass_g_l = mass_g * active_fraction / volume_l
    if mass_g_l == 0:
        return water
    mol_l = mass_g_l / chosen.molar_mass_g_mol
    changes = {name: amount * mol_l for name, amount in chosen.adds.items()}
    changes["alkalinity"] = chosen.alkalinity_eq * mol_l
    solids = water.total_dissolved_solids_mg_l + 1000 * mass_g_l * chosen.anhydrous_mass_share
    return with_changes(
        water,
        totals=_reacted(water.totals.plus(changes), chosen, mol_l),
        total_dissolved_solids_mg_l=solids,
    )


def replace(water: Water, *, fraction: float, fill: Water, temperature_c: float | None = None) -> Water:
    """The water after a fraction, 0 to 1, was drained and made up with supply water.

    temperature_c   Temperature afterwards, [°C]; by default that of the mixture.

    Replacing 0 changes nothing but a temperature that is given; replacing 1 gives the fill.

    >>> old, fill = Water(Totals(na=0.01), 38.0, 600.0), Water(Totals(na=0.002), 12.0, 200.0)
    >>> replace(old, fraction=0.5, fill=fill).temperature_c
    25.0
    """
    if fraction in (0, 1):
        kept = fill if fraction else water
        return kept if temperature_c is None else with_changes(kept, temperature_c=temperature_c)

    def mixed(old: float, new: float) -> float:
        return (1 - fraction) * old + fraction * new

    return Water(
        _met(water.totals.mixed_with(fill.totals, fraction)),
        mixed(water.temperature_c, fill.temperature_c) if temperature_c is None else temperature_c,
        mixed(water.total_dissolved_solids_mg_l, fill.total_dissolved_solids_mg_l),
        water.not_known | fill.not_known,
    )


def open_to_air(water: Water, *, log10_pco2_atm: float, field: str = "steps") -> Water:
    """The water once it is in balance with carbon dioxide of the air; alkalinity stays.

    log10_pco2_atm   Partial pressure, [log10 atm]; -3.38 is outdoor air of 2020. field: where to lay the
    blame: raises InputError there if no pH from 2 to 12 is in balance.

    >>> aired = open_to_air(Water(Totals(alkalinity=0.002, dic=0.0022, na=0.002), 38.0, 170.0),
    ...                     log10_pco2_atm=-3.38)
    >>> round(aired.totals.dic * 1000, 3)
    1.953
    """
    found = solve_at_pco2(water, log10_pco2_atm=log10_pco2_atm)
    if found is None:
        raise refuse(
            field, "This water cannot come into balance with that carbon dioxide between pH 2 and 12"
        )
    return with_changes(water, totals=found.totals)


def change_temperature(water: Water, *, temperature_c: float) -> Water:
    """The water heated or cooled, [°C], without losing gas.

    >>> change_temperature(Water(Totals(), 12.0, 0.0), temperature_c=38.0).temperature_c
    38.0
    """
    return with_changes(water, temperature_c=temperature_c)


def use_free_chlorine(water: Water, *, free_chlorine_mg_l: float | None) -> Water:
    """The water after free chlorine, [mg/L as Cl2], did its work: each HOCl leaves H+ and Cl-.

    None uses all of it; more than there is counts as all.

    >>> used = use_free_chlorine(Water(Totals(chlorine_i=1e-4), 38.0, 0.0), free_chlorine_mg_l=None)
    >>> used.totals.alkalinity, used.totals.cl
    (-0.0001, 0.0001)
    """
    held = water.totals.chlorine_i
    used = held if free_chlorine_mg_l is None else min(held, free_chlorine_mg_l / CHLORINE_G_MOL / 1000)
    return with_changes(water, totals=_spend(water.totals, {"chlorine_i": used}, acid_per_mol=1.0))


def use_up_oxidiser(water: Water) -> Water:
    """The water once every active halogen and oxygen is spent.

    HOCl, HOBr and HSO5- leave one H+ each; peroxide leaves none. Spent bromine returns to the bromide.

    >>> spent = use_up_oxidiser(Water(Totals(bromine_i=1e-4), 38.0, 0.0))
    >>> spent.totals.br, spent.totals.alkalinity
    (0.0001, -0.0001)
    """
    totals = water.totals
    spent = _spend(totals, {name: getattr(totals, name) for name in OXIDANTS}, acid_per_mol=1.0)
    return with_changes(water, totals=spent.plus({"peroxide": -spent.peroxide}))


def _reacted(totals: Totals, chosen: Substance, mol_l: float) -> Totals:
    """Totals after what was just added has met oxidants, bromide and neutralisers."""
    if chosen.reduces_eq:
        met = _first_oxidants(totals, chosen.reduces_eq * mol_l)
        totals = _spend(totals, met, acid_per_mol=1.0)
    elif REDOX.isdisjoint(chosen.adds):
        return totals
    return _met(totals)


def _met(totals: Totals) -> Totals:
    """Totals after thiosulfate and peroxide took their share and the rest oxidised bromide."""
    met = _first_oxidants(totals, OXIDANT_PER_THIOSULFATE * totals.thiosulfate)
    amount = sum(met.values())
    if amount:
        totals = _spend(totals, met, acid_per_mol=1.5).plus(
            {"thiosulfate": -amount / OXIDANT_PER_THIOSULFATE, "so4": 0.5 * amount}
        )
    met = _first_oxidants(totals, totals.peroxide)
    if met:
        totals = _spend(totals, met, acid_per_mol=1.0).plus({"peroxide": -sum(met.values())})
    return _oxidise_bromide(totals)


def _first_oxidants(totals: Totals, amount: float) -> dict[str, float]:
    """How much of each oxidant an amount of neutraliser meets, [mol/L]: chlorine, bromine, HSO5-."""
    met = {}
    for name in OXIDANTS:
        taken = min(amount, getattr(totals, name))
        if taken > 0:
            met[name] = taken
            amount -= taken
    return met


def _spend(totals: Totals, amounts: dict[str, float], *, acid_per_mol: float) -> Totals:
    changes = {name: -amount for name, amount in amounts.items()}
    for name, amount in amounts.items():
        changes[SPENT_AS[name]] = amount
    changes["alkalinity"] = -acid_per_mol * sum(amounts.values())
    return totals.plus(changes)


def _oxidise_bromide(totals: Totals) -> Totals:
    """HOCl + Br- = HOBr + Cl-, then HSO5- + Br- = HOBr + SO4-2; no change of alkalinity."""
    for name in ("chlorine_i", "hso5"):
        amount = min(getattr(totals, name), totals.br)
        if amount > 0:
            totals = totals.plus({name: -amount, "br": -amount, "bromine_i": amount, SPENT_AS[name]: amount})
    return totals
