"""What a plan works on: the water, what was measured of it, what the guideline wants, what may be used."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Final

from service.chemistry.guidelines import Band, Finding, band
from service.chemistry.readings import Reading
from service.chemistry.substances import SUBSTANCES
from service.chemistry.treatment import pairs
from service.chemistry.treatment.caps import (
    MOST_AS_BOUGHT_G_M3,
    PH_NOT_TRUSTED_ABOVE_BROMINE_MG_L,
    PH_NOT_TRUSTED_ABOVE_CHLORINE_MG_L,
)
from service.chemistry.treatment.levels import PLACE, Levels, columns_of, levels_of, oxidised
from service.chemistry.treatment.products import Product
from service.chemistry.treatment.programme import Problem
from service.chemistry.treatment.request import Request
from service.chemistry.treatment.targets import Target, target
from service.chemistry.uncertainty import plus_minus, strip_pad
from service.chemistry.units import SULFATE_G_MOL
from service.chemistry.water import Water, water_from_readings

# Stand-ins for what nobody read, so that the rest can be worked out; never reported, never dosed by.
STAND_INS: Final = {"temperature_c": Decimal(38), "total_alkalinity_mg_l": Decimal(100)}
PLANNED: Final = (
    "ph",
    "total_alkalinity_mg_l",
    "calcium_hardness_mg_l",
    "cyanuric_acid_mg_l",
    "free_chlorine_mg_l",
    "total_bromine_mg_l",
    "total_dissolved_solids_mg_l",
)
# Demand of one bather in 1250 L, [mg/L as Cl2]: from memory (4 to 9 g of chlorine an hour, 20 minutes).
DEMAND_MG_L_1250_L: Final = 1.3
MONOPERSULFATE_READS_FOR: Final = timedelta(hours=48)
ALKALINITY_MG_PER_MMOL: Final = 50.0435
CHLORINE_IN_BROMINE_MG_L: Final = 0.5


@dataclass(frozen=True)
class Scene:
    """A request with everything derived from it.

    readings   As read, a strip's pad turned into the spa's own halogen.
    measured   Names of the readings that were taken.
    findings   What judging found in the water as read.
    bands      The range in force of every planned parameter.
    notes      Sentences for the record about how readings were taken.
    """

    request: Request
    readings: Mapping[str, Reading]
    findings: tuple[Finding, ...]
    bands: Mapping[str, Band]
    water: Water
    fill: Water | None
    targets: Mapping[str, Target]
    notes: tuple[str, ...] = ()

    def has(self, name: str) -> bool:
        """True when this was measured."""
        return name in self.readings

    def value(self, name: str) -> float | None:
        """What was read, None where nothing was."""
        reading = self.readings.get(name)
        return None if reading is None else reading.value

    @property
    def combined(self) -> float | None:
        """Combined chlorine, [mg/L as Cl2], None unless free and total were read."""
        free, total = self.readings.get("free_chlorine_mg_l"), self.readings.get("total_chlorine_mg_l")
        return None if free is None or total is None else float(max(total.typed - free.typed, Decimal(0)))

    @property
    def halogen_high(self) -> bool:
        """The sanitiser was read above its limit."""
        value, wanted = self.value(self.request.halogen), self.targets.get(self.request.halogen)
        return (
            value is not None
            and wanted is not None
            and wanted.limit_high is not None
            and value > wanted.limit_high
        )

    @property
    def limits_solids(self) -> bool:
        """A limit on dissolved solids, or on their rise above a known supply, is planned for."""
        wanted = self.targets.get("total_dissolved_solids_mg_l")
        return wanted is not None and wanted.limit_high is not None

    @property
    def ph_is_off(self) -> bool:
        """pH was read outside its limits."""
        limits, ph = self.bands["ph"], self.readings["ph"].value
        return not limits.holds(ph)

    @property
    def ph_trusted(self) -> bool:
        """False where so much halogen is in the water that the pH indicator cannot be believed."""
        chlorine, bromine = self.value("free_chlorine_mg_l") or 0.0, self.value("total_bromine_mg_l") or 0.0
        return chlorine <= PH_NOT_TRUSTED_ABOVE_CHLORINE_MG_L and bromine <= PH_NOT_TRUSTED_ABOVE_BROMINE_MG_L

    @property
    def now(self) -> datetime | None:
        """The time of the readings, None where no time was given."""
        times = [reading.at for reading in self.readings.values() if reading.at is not None]
        return self.request.at or max(times, default=None)


def product_family(request: Request) -> str | None:
    """The family some guidelines choose a row by, None where the products do not tell."""
    if request.sanitiser == "bromine":
        return "acidic_or_bromine"
    families = {
        "hypochlorite" if product.substance in pairs.HYPOCHLORITES else "acidic_or_bromine"
        for product in request.products
        if product.substance in pairs.CHLORINES
    }
    return families.pop() if len(families) == 1 else None


def build_scene(request: Request, readings: Mapping[str, Reading], findings: tuple[Finding, ...]) -> Scene:
    """Everything a plan needs to know, from a checked request of a chlorine or bromine spa.

    readings  As `own_halogen` gives them. findings: what judging found in them.
    """
    family = product_family(request)
    bands = {
        name: band(
            request.guideline,
            name,
            sanitiser=request.sanitiser,
            setting=request.setting,
            # Without the readings every row that tightens counts: a plan must hold wherever pH ends.
            readings={name: value for name, value in readings.items() if name != "ph"},
            product_family=family,
        )
        for name in (*PLANNED, *_DERIVED)
    }
    water, _ = water_from_readings(
        _with_sulfate(request, _with_stand_ins(readings)), background_mmol_l=request.background
    )
    fill = None
    if request.fill is not None and {"ph", "total_alkalinity_mg_l"} <= set(request.fill):
        fill, _ = water_from_readings(
            _with_stand_ins(request.fill), background_mmol_l=request.fill_background, path="fill"
        )
    scene = Scene(request, readings, findings, bands, water, fill, {})
    return replace(scene, targets=_targets(scene))


_DERIVED: Final = (
    "total_chlorine_mg_l",
    "combined_chlorine_mg_l",
    "combined_chlorine_share_of_free",
    "combined_chlorine_share_of_total",
    "total_dissolved_solids_rise_mg_l",
    "acid_capacity_mmol_l",
)


def own_halogen(request: Request) -> tuple[dict[str, Reading], list[str]]:
    """Readings with a strip's one pad turned into the halogen of the spa."""
    readings = dict(request.readings)
    if request.sanitiser == "other":
        return readings, []
    own = request.halogen
    other, scale = (
        ("total_bromine_mg_l", "bromine")
        if own == "free_chlorine_mg_l"
        else ("free_chlorine_mg_l", "chlorine")
    )
    pad = readings.get(other)
    if own in readings or pad is None or pad.method != "strip":
        return readings, []
    said = strip_pad(pad.typed, scale=scale, sanitiser=request.sanitiser)
    del readings[other]
    readings[said.parameter] = replace(pad, value=float(said.value), typed=said.value)
    return readings, [said.note]


def _with_stand_ins(readings: Mapping[str, Reading]) -> dict[str, Reading]:
    missing = {
        name: Reading(value=float(value), typed=value)
        for name, value in STAND_INS.items()
        if name not in readings
    }
    return {**readings, **missing}


def _with_sulfate(request: Request, readings: dict[str, Reading]) -> dict[str, Reading]:
    """Sulfate that the log says was added, where none was read: it pairs with calcium."""
    if "sulfate_mg_l" in readings:
        return readings
    added = sum(
        dose.mass_g
        * SUBSTANCES[dose.substance].adds.get("so4", 0.0)
        / SUBSTANCES[dose.substance].molar_mass_g_mol
        for dose in request.recent
    )
    if not added:
        return readings
    sulfate = added * SULFATE_G_MOL * 1000 / request.volume_l
    return {**readings, "sulfate_mg_l": Reading(value=sulfate, typed=Decimal(repr(round(sulfate, 3))))}


def _targets(scene: Scene) -> dict[str, Target]:
    """A target for every figure that was measured and that a limit or an ideal speaks of."""
    return {
        name: found for name in PLANNED if (found := _target(scene, name)) is not None
    } | _combined_target(scene)


def _target(scene: Scene, name: str) -> Target | None:
    reading = scene.readings.get(name)
    if reading is None or not _plannable(scene, name):
        return None
    limits = scene.bands[name]
    low, high = _tightened(scene, name, limits.low, limits.high)
    return target(
        name,
        low=low,
        high=high,
        ideal_low=limits.ideal_low,
        ideal_high=limits.ideal_high,
        reading=reading.value,
        plus_minus=plus_minus(name, reading.value, reading.method, reading.plus_minus),
        demand=_demand(scene) if name == scene.request.halogen else 0.0,
        lower_half=scene.request.shell == "wood" and name == scene.request.halogen,
    )


def _plannable(scene: Scene, name: str) -> bool:
    if name in ("free_chlorine_mg_l", "total_bromine_mg_l"):
        return name == scene.request.halogen
    return name != "ph" or scene.has("total_alkalinity_mg_l")


def _tightened(
    scene: Scene, name: str, low: float | None, high: float | None
) -> tuple[float | None, float | None]:
    """Limits with those stated in another parameter: total chlorine, rise of solids, acid capacity."""
    if name == "free_chlorine_mg_l":
        total = scene.bands["total_chlorine_mg_l"].high
        if total is not None:
            high = min(high if high is not None else total, total - (scene.combined or 0.0))
    if name == "total_dissolved_solids_mg_l":
        rise = scene.bands["total_dissolved_solids_rise_mg_l"].high
        supply = (scene.request.fill or {}).get(name)
        if rise is not None and supply is not None:
            high = min(high if high is not None else INFINITE, supply.value + rise)
    if name == "total_alkalinity_mg_l":
        capacity = scene.bands["acid_capacity_mmol_l"].low
        if capacity is not None:
            low = max(low or 0.0, capacity * ALKALINITY_MG_PER_MMOL)
    return low, high


# House rule, no source: bromide that stays in reserve, and what a new fill starts with.
BANK_MARGIN_MG_L: Final = 5.0
BANK_AT_FILL_MG_L: Final = 15.0
AMPLE_MG_L: Final = 1000.0
INFINITE: Final = float("inf")


def _demand(scene: Scene) -> float:
    bathers = scene.request.number("bathers_expected") or 0.0
    chlorine = DEMAND_MG_L_1250_L * bathers * 1250 / scene.request.volume_l
    return chlorine if scene.request.sanitiser == "chlorine" else chlorine * 159.808 / 70.906


def _combined_target(scene: Scene) -> dict[str, Target]:
    """Combined chlorine, as far as new water can lower it."""
    name, combined = "combined_chlorine_mg_l", scene.combined
    high = combined_limit(scene)
    if combined is None or high is None or scene.request.sanitiser != "chlorine":
        return {}
    return {name: Target(name, None, 0.98 * high, None, 0.98 * high, max(high, 0.2), None, high)}


def combined_limit(scene: Scene) -> float | None:
    """The most combined chlorine allowed, [mg/L], shares taken at the lowest free chlorine allowed."""
    free = scene.bands["free_chlorine_mg_l"].low or 1.0
    limits = [scene.bands["combined_chlorine_mg_l"].high]
    of_free, of_total = (
        scene.bands["combined_chlorine_share_of_free"].high,
        scene.bands["combined_chlorine_share_of_total"].high,
    )
    if of_free is not None:
        limits.append(of_free * free)
    if of_total is not None:
        limits.append(of_total / (1 - of_total) * free)
    known = [limit for limit in limits if limit is not None]
    return min(known, default=None)


def usable(scene: Scene) -> tuple[tuple[Product, ...], list[str]]:
    """Products a plan may dose today, and a sentence for each that is refused."""
    chosen: list[Product] = []
    refused: list[str] = []
    for product in scene.request.products:
        reason = _refusal(scene, product)
        if reason is None:
            chosen.append(product)
        elif reason:
            refused.append(f"{product.id} is not used: {reason}")
    return tuple(chosen), refused


def _refusal(scene: Scene, product: Product) -> str | None:
    """Why a product is not dosed; "" when it simply has no use today, None when it may be used."""
    request, substance = scene.request, product.substance
    if substance in request.forbidden:
        return f"this spa's warranty note or client forbids {substance}"
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
    if scene.request.sanitiser == "bromine":
        start = oxidised(start)
        supply = None if supply is None else _into_bromine(supply)
    return Problem(
        water=water,
        fill=scene.fill,
        start=start,
        fill_levels=supply,
        products=products,
        columns=tuple(columns),
        most_g_m3=tuple(_most(product) for product in products),
        targets=dict(scene.targets),
        bank=scene.request.sanitiser == "bromine" and (scene.has("bromide_mg_l") or scene.request.fresh_fill),
        bank_mg_l=BANK_AT_FILL_MG_L if scene.request.fresh_fill else BANK_MARGIN_MG_L,
        temperature_c=water.temperature_c,
    )


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
