"""What a technician can measure: a kitchen scale, a jug, whole tablets; metric or US.

The dose a plan works with is the rounded one, so that the effect shown is the effect of what is weighed.
Scoops are a guide only: loose powders differ, the scale decides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from service.chemistry.treatment.products import Product
from service.chemistry.units import GRAMS_PER_OUNCE, MILLILITRES_PER_US_FLUID_OUNCE

SCOOP_ML: Final = 25.0
TABLESPOON_ML: Final = 14.7868
FINE_STEP_G: Final = 0.1
OUNCE_STEP: Final = 0.1
FINE_OUNCE_STEP: Final = 0.01
FLUID_OUNCE_STEP: Final = 0.25
FINE_FLUID_OUNCE_STEP: Final = 0.05

# Loose bulk densities, [g/mL]: from memory, for the scoop guide only; no dose rests on them.
BULK_DENSITY_G_ML: Final[dict[str, float]] = {
    "sodium_bicarbonate": 1.0,
    "sodium_carbonate": 1.0,
    "sodium_bisulfate": 1.4,
    "calcium_chloride_anhydrous": 0.9,
    "calcium_chloride_dihydrate": 0.85,
    "borax_decahydrate": 0.9,
    "calcium_hypochlorite": 0.9,
    "lithium_hypochlorite": 0.9,
    "dichlor_dihydrate": 0.95,
    "dichlor_anhydrous": 0.95,
    "bcdmh": 1.0,
    "sodium_bromide": 1.4,
    "potassium_monopersulfate": 1.1,
    "sodium_thiosulfate_pentahydrate": 1.0,
    "sodium_sulfite": 1.4,
}


@dataclass(frozen=True)
class Measure:
    """A dose as it is measured out.

    mass_g     Grams of product.
    volume_ml  For a liquid with a density, millilitres; else None.
    units      For tablets, how many; else None.
    text       Words for the step.
    """

    mass_g: float
    volume_ml: float | None
    units: int | None
    text: str


def measure(product: Product, mass_g: float, *, us_units: bool, fine: bool) -> Measure:
    """The nearest amount of a product that can be measured out.

    mass_g    Grams of product wanted, >= 0.
    us_units  Ounces and fluid ounces instead of grams and millilitres.
    fine      A pocket scale (0.1 g) or a syringe instead of a kitchen scale (1 g) or a jug.

    The amount may round to nothing: the caller asks again with `fine`, or drops the dose.

    >>> from service.chemistry.treatment.products import Product
    >>> bicarbonate = Product("b", "sodium_bicarbonate", 1.0, "granules")
    >>> measure(bicarbonate, 112.4, us_units=False, fine=False).text
    '112 g (about 4½ level 25 mL scoops)'
    """
    if product.form == "tablet" and product.unit_mass_g is not None:
        return _tablets(round(mass_g / product.unit_mass_g), product.unit_mass_g)
    if product.form == "liquid" and product.density_g_ml is not None:
        return _liquid(mass_g, product.density_g_ml, us_units=us_units, fine=fine)
    return _powder(product, mass_g, us_units=us_units, fine=fine)


def _tablets(count: int, unit_mass_g: float) -> Measure:
    noun = "tablet" if count == 1 else "tablets"
    return Measure(round(count * unit_mass_g, 2), None, count, f"{count} {noun}")


def _liquid(mass_g: float, density_g_ml: float, *, us_units: bool, fine: bool) -> Measure:
    volume_ml = mass_g / density_g_ml
    if us_units:
        ounces = _nearest(
            volume_ml / MILLILITRES_PER_US_FLUID_OUNCE, FINE_FLUID_OUNCE_STEP if fine else FLUID_OUNCE_STEP
        )
        volume_ml = round(ounces * MILLILITRES_PER_US_FLUID_OUNCE, 2)
        return Measure(round(volume_ml * density_g_ml, 2), volume_ml, None, f"{ounces:g} fl oz")
    volume_ml = _nearest(volume_ml, _jug_step_ml(volume_ml, fine=fine))
    words = f"{volume_ml / 1000:g} L" if volume_ml >= 1000 else f"{volume_ml:g} mL"
    return Measure(round(volume_ml * density_g_ml, 2), volume_ml, None, words)


def _jug_step_ml(volume_ml: float, *, fine: bool) -> float:
    if fine:
        return 0.1 if volume_ml < 20 else 1.0
    if volume_ml < 100:
        return 1.0
    return 5.0 if volume_ml < 500 else 10.0


def _powder(product: Product, mass_g: float, *, us_units: bool, fine: bool) -> Measure:
    if us_units:
        ounces = _nearest(mass_g / GRAMS_PER_OUNCE, FINE_OUNCE_STEP if fine else OUNCE_STEP)
        grams = round(ounces * GRAMS_PER_OUNCE, 2)
        pounds, rest = divmod(round(ounces, 2), 16)
        words = f"{pounds:.0f} lb {rest:g} oz" if pounds else f"{ounces:g} oz"
        return Measure(grams, None, None, words + _scoops(product, grams, TABLESPOON_ML, "tablespoon"))
    grams = _nearest(mass_g, _scale_step_g(mass_g, fine=fine))
    words = f"{grams / 1000:g} kg" if grams >= 1000 else f"{grams:g} g"
    return Measure(grams, None, None, words + _scoops(product, grams, SCOOP_ML, "25 mL scoop"))


def _scale_step_g(mass_g: float, *, fine: bool) -> float:
    if fine:
        return FINE_STEP_G
    return 1.0 if mass_g < 2000 else 5.0


def _nearest(amount: float, step: float) -> float:
    return round(round(amount / step) * step, 4)


def _scoops(product: Product, grams: float, scoop_ml: float, noun: str) -> str:
    """A guide in halves of a level scoop; nothing where the powder's density is not known."""
    density = product.density_g_ml or BULK_DENSITY_G_ML.get(product.substance)
    if density is None or product.form == "liquid":
        return ""
    halves = round(2 * grams / (density * scoop_ml))
    if halves == 0:
        return ""
    whole, half = divmod(halves, 2)
    count = ("½" if half else "") if whole == 0 else f"{whole}{'½' if half else ''}"
    return f" (about {count} level {noun}{'' if halves <= 2 else 's'})"


def smallest_step_g(product: Product, mass_g: float, *, us_units: bool, fine: bool) -> float:
    """Grams of product between one measurable amount and the next, about `mass_g`.

    >>> from service.chemistry.treatment.products import Product
    >>> smallest_step_g(Product("b", "sodium_bicarbonate", 1.0, "granules"), 50, us_units=False, fine=False)
    1.0
    """
    if product.form == "tablet" and product.unit_mass_g is not None:
        return product.unit_mass_g
    if product.form == "liquid" and product.density_g_ml is not None:
        if us_units:
            ounce = FINE_FLUID_OUNCE_STEP if fine else FLUID_OUNCE_STEP
            return ounce * MILLILITRES_PER_US_FLUID_OUNCE * product.density_g_ml
        return _jug_step_ml(mass_g / product.density_g_ml, fine=fine) * product.density_g_ml
    if us_units:
        return (FINE_OUNCE_STEP if fine else OUNCE_STEP) * GRAMS_PER_OUNCE
    return _scale_step_g(mass_g, fine=fine)


def portions(total_g: float, count: int, step_g: float) -> list[float]:
    """A dose cut into `count` measurable portions, as equal as the step allows, none larger than the first.

    >>> portions(100.0, 3, 1.0)
    [34.0, 33.0, 33.0]
    """
    steps = round(total_g / step_g)
    each, more = divmod(steps, count)
    return [round((each + (place < more)) * step_g, 4) for place in range(count)]


def rounded_up(amount: float, step: float) -> float:
    """The next multiple of a step, at or above an amount.

    >>> rounded_up(41.2, 1)
    42
    """
    return math.ceil(round(amount / step, 6)) * step
