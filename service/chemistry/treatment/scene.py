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
    PH_NOT_TRUSTED_ABOVE_BROMINE_MG_L,
    PH_NOT_TRUSTED_ABOVE_CHLORINE_MG_L,
)
from service.chemistry.treatment.request import Request
from service.chemistry.treatment.stops import tablets_coming
from service.chemistry.treatment.targets import Target, target
from service.chemistry.treatment.words import minutes
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
    def sanitiser_left_alone(self) -> str | None:
        """Why the sanitiser is neither raised nor lowered by a dose today; None where it may be."""
        if tablets_coming(self.request, self.readings) and not self.halogen_high:
            return (
                "slow tablets went in lately and are still dissolving: the reading understates what is coming"
            )
        forecast = self.request.number("forecast_minutes_until_inside")
        until_use = self.request.number("minutes_until_use")
        if self.halogen_high and forecast is not None and until_use is not None and forecast <= until_use:
            return f"the forecast (80 %) brings it back in {minutes(forecast)}, before the next use"
        return None

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
    if request.fill is not None and set(NEEDED_OF_SUPPLY) <= set(request.fill):
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


NEEDED_OF_SUPPLY: Final = ("ph", "total_alkalinity_mg_l", "calcium_hardness_mg_l")
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
