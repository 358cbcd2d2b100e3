"""Which products a plan may dose today, and the linear programme's data for a scene."""

from __future__ import annotations

from typing import Final

from service.chemistry.treatment import pairs
from service.chemistry.treatment.caps import MOST_AS_BOUGHT_G_M3
from service.chemistry.treatment.levels import PLACE, Levels, columns_of, levels_of, oxidised
from service.chemistry.treatment.problem import Problem
from service.chemistry.treatment.products import Product
from service.chemistry.treatment.scene import INFINITE, Scene
from service.chemistry.treatment.targets import Target

# House rule, no source: bromide that stays in reserve, and what a new fill starts with.
BANK_MARGIN_MG_L: Final = 5.0
BANK_AT_FILL_MG_L: Final = 15.0
AMPLE_MG_L: Final = 1000.0


def usable(scene: Scene) -> tuple[tuple[Product, ...], list[str]]:
    """Products a plan may dose today, and a sentence for each reason to refuse some."""
    chosen: list[Product] = []
    refused: dict[str, list[str]] = {}
    for product in scene.request.products:
        reason = refusal(scene, product)
        if reason is None:
            chosen.append(product)
        elif reason:
            refused.setdefault(reason, []).append(product.called)
    sentences = [f"Not used today: {', '.join(names)}, because {reason}" for reason, names in refused.items()]
    return tuple(chosen), sentences


def refusal(scene: Scene, product: Product) -> str | None:
    """Why a product is not dosed; "" when it simply has no use today, None when it may be used."""
    request, substance = scene.request, product.substance
    if substance in request.forbidden:
        return f"this spa's warranty note or client forbids {substance.replace('_', ' ')}"
    if substance == "trichlor" and request.shell in ("wood", "acrylic") and not product.maker_allows:
        return "trichlor is too acid for this shell unless its maker and the label allow it"
    if product.in_feeder:
        return ""
    if substance in ("boric_acid", "cyanuric_acid"):
        return ""
    if substance in pairs.ACIDS | pairs.BASES and not scene.has("total_alkalinity_mg_l"):
        return "pH is not dosed without a reading of total alkalinity: test it first"
    if substance == "sodium_bicarbonate" and not scene.has("total_alkalinity_mg_l"):
        return "alkalinity is not dosed without a reading of it: test it first"
    if substance in pairs.CALCIUM_CHLORIDES and not scene.has("calcium_hardness_mg_l"):
        return "hardness is not dosed without a reading of it: test it first"
    if substance in pairs.OXIDISERS | pairs.BROMINES | pairs.NEUTRALISERS and not scene.has(request.halogen):
        return "no sanitiser or neutraliser is dosed without a sanitiser reading: test it first"
    if substance in pairs.OXIDISERS | pairs.BROMINES | pairs.NEUTRALISERS and scene.sanitiser_left_alone:
        return scene.sanitiser_left_alone
    return _system_refusal(scene, product)


def _system_refusal(scene: Scene, product: Product) -> str | None:
    substance = product.substance
    if scene.request.sanitiser == "chlorine":
        return "" if substance in pairs.MONOPERSULFATES else None
    if substance == "trichlor":
        return "trichlor is no oxidiser for a bromine tub"
    banked = scene.has("bromide_mg_l") or scene.request.fresh_fill
    if not banked and substance in pairs.CHLORINES | pairs.MONOPERSULFATES | {"sodium_bromide"}:
        return "the bromide in the water is not known: enter it from the record of doses and drains"
    return None


def problem_of(scene: Scene, products: tuple[Product, ...]) -> Problem:
    """The linear programme's data for this scene."""
    combined = scene.combined or 0.0
    water = scene.water
    columns = columns_of(water, products, sanitiser=scene.request.sanitiser)
    start = levels_of(water, combined_chlorine_mg_l=combined)
    supply = None if scene.fill is None else levels_of(scene.fill)
    start = oxidised(start)
    if scene.request.sanitiser == "bromine":
        supply = None if supply is None else _into_bromine(supply)
    return Problem(
        water=water,
        fill=scene.fill,
        start=start,
        fill_levels=supply,
        products=products,
        columns=tuple(columns),
        most_g_m3=tuple(_most(product) for product in products),
        targets=_planned_targets(scene),
        bank=scene.request.sanitiser == "bromine" and (scene.has("bromide_mg_l") or scene.request.fresh_fill),
        bank_mg_l=BANK_AT_FILL_MG_L if scene.request.fresh_fill else BANK_MARGIN_MG_L,
        temperature_c=water.temperature_c,
    )


def _planned_targets(scene: Scene) -> dict[str, Target]:
    left_alone = scene.request.halogen if scene.sanitiser_left_alone else None
    return {name: wanted for name, wanted in scene.targets.items() if name != left_alone}


def _into_bromine(supply: Levels) -> Levels:
    """A supply's chlorine counted as the bromine it makes from the bank of the tub it is filled into."""
    banked = list(supply)
    banked[PLACE["bromide_mg_l"]] += AMPLE_MG_L
    told = list(oxidised(tuple(banked)))
    told[PLACE["bromide_mg_l"]] -= AMPLE_MG_L
    return tuple(told)


def _most(product: Product) -> float:
    if product.substance == "sodium_bromide":
        return MOST_AS_BOUGHT_G_M3["sodium_bromide"]
    return INFINITE
