"""The figures of a water that change in proportion to every dose, and what one gram of a product does.

Alkalinity, carbon, hardness, cyanuric acid, halogens, bromide and dissolved solids are linear in grams
and in the replaced fraction. What a product does is found by adding it to the water once, so that the
planner cannot disagree with the engine about stoichiometry.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace as with_changes
from typing import Final

from service.chemistry.steps import add
from service.chemistry.treatment.products import Product
from service.chemistry.units import (
    ALKALINITY_MG_PER_EQ,
    BROMIDE_G_MOL,
    BROMINE_G_MOL,
    CALCIUM_CARBONATE_G_MOL,
    CHLORINE_G_MOL,
    CYANURIC_ACID_G_MOL,
)
from service.chemistry.water import Water

# "carbon" is dissolved inorganic carbon times the mass of one equivalent of alkalinity, [mg/L], so that
# it can stand in one equation with total alkalinity.
LEVELS: Final = (
    "total_alkalinity_mg_l",
    "carbon",
    "calcium_hardness_mg_l",
    "cyanuric_acid_mg_l",
    "free_chlorine_mg_l",
    "total_bromine_mg_l",
    "bromide_mg_l",
    "total_dissolved_solids_mg_l",
    "combined_chlorine_mg_l",
)
PLACE: Final = {name: place for place, name in enumerate(LEVELS)}
PROBE_MOL_L: Final = 1e-3

Levels = tuple[float, ...]


def levels_of(water: Water, *, combined_chlorine_mg_l: float = 0.0) -> Levels:
    """The linear figures of a water, in the order of LEVELS.

    >>> from service.chemistry.water import Totals
    >>> round(levels_of(Water(Totals(alkalinity=0.002), 38.0, 0.0))[0], 1)
    100.1
    """
    totals = water.totals
    return (
        totals.alkalinity * ALKALINITY_MG_PER_EQ,
        totals.dic * ALKALINITY_MG_PER_EQ,
        totals.ca * CALCIUM_CARBONATE_G_MOL * 1000,
        totals.cyanurate * CYANURIC_ACID_G_MOL * 1000,
        totals.chlorine_i * CHLORINE_G_MOL * 1000,
        totals.bromine_i * BROMINE_G_MOL * 1000,
        totals.br * BROMIDE_G_MOL * 1000,
        water.total_dissolved_solids_mg_l,
        combined_chlorine_mg_l,
    )


def columns_of(water: Water, products: Sequence[Product], *, sanitiser: str) -> list[Levels]:
    """Change of every level by one gram of each product per cubic metre.

    The probe holds ample sanitiser for a neutraliser to meet and, in a bromine tub, ample bromide for an
    oxidiser to turn into bromine; that bromide does not run out is a condition of the programme.
    """
    changes = {"chlorine_i" if sanitiser == "chlorine" else "bromine_i": PROBE_MOL_L}
    if sanitiser == "bromine":
        changes["br"] = PROBE_MOL_L
    probe = with_changes(water, totals=water.totals.plus(changes))
    before = levels_of(probe)
    return [_difference(before, levels_of(dosed(probe, product, 1.0))) for product in products]


def dosed(water: Water, product: Product, g_per_m3: float) -> Water:
    """The water after a product was added, [g of product per m3]."""
    return add(
        water,
        substance=product.substance,
        mass_g=g_per_m3,
        volume_l=1000.0,
        active_fraction=product.active_fraction,
    )


def oxidised(levels: Levels) -> Levels:
    """Levels of a bromine tub once its free chlorine has turned bromide into bromine.

    >>> found = oxidised((0.0, 0.0, 0.0, 0.0, 1.0, 2.0, 10.0, 0.0, 0.0))
    >>> names = ("free_chlorine_mg_l", "total_bromine_mg_l", "bromide_mg_l")
    >>> [round(found[PLACE[name]], 3) for name in names]
    [0.0, 4.254, 8.873]
    """
    chlorine, bromide = levels[PLACE["free_chlorine_mg_l"]], levels[PLACE["bromide_mg_l"]]
    moles = min(chlorine / CHLORINE_G_MOL, bromide / BROMIDE_G_MOL)
    told = list(levels)
    told[PLACE["free_chlorine_mg_l"]] -= moles * CHLORINE_G_MOL
    told[PLACE["bromide_mg_l"]] -= moles * BROMIDE_G_MOL
    told[PLACE["total_bromine_mg_l"]] += moles * BROMINE_G_MOL
    return tuple(told)


def mixed(one: Levels, other: Levels, fraction: float) -> Levels:
    """Levels after a fraction, 0 to 1, of the water was replaced by another.

    >>> mixed((100.0,), (20.0,), 0.25)
    (80.0,)
    """
    return tuple((1 - fraction) * a + fraction * b for a, b in zip(one, other, strict=True))


def _difference(before: Levels, after: Levels) -> Levels:
    return tuple(b - a for a, b in zip(before, after, strict=True))
