"""Sentences that go with a plan: what it leaves alone, what to watch, habits that the chemistry refuses."""

from __future__ import annotations

from typing import Final

from service.chemistry.treatment import pairs
from service.chemistry.treatment.cautions import BY_SHELL
from service.chemistry.treatment.prescription import Prescription
from service.chemistry.treatment.scene import Scene
from service.chemistry.treatment.steps_told import (
    FEEDER_TABLETS_A_WEEK,
    FEEDER_TABLETS_A_WEEK_HEAVY,
    FEEDER_VOLUME_L,
    HEAVY_BATHERS,
)
from service.chemistry.treatment.targets import ideal_range
from service.chemistry.treatment.timing import Clock
from service.chemistry.treatment.words import amount, label, minutes

SCALE_FORMS_ABOVE: Final = 0.5
IDEALS: Final = ("ph", "total_alkalinity_mg_l", "calcium_hardness_mg_l", "cyanuric_acid_mg_l")


def remarks(scene: Scene, done: Prescription, told: Clock) -> list[str]:
    """Every sentence that this scene and plan call for."""
    return [
        *_ideals(scene, done),
        *_index(scene, done),
        *_air(scene, done),
        *_time(scene, told),
        *_system(scene, done),
        *_feeder(scene),
        *_unmeasured(scene),
    ]


def _ideals(scene: Scene, done: Prescription) -> list[str]:
    """Ideals left alone, and that only new water would reach them."""
    found = []
    for name in IDEALS:
        value, wanted = done.expected.get(name), scene.targets.get(name)
        if value is None or wanted is None or wanted.misses(value):
            continue
        limits = scene.bands[name]
        low, high = ideal_range(
            name,
            low=wanted.limit_low,
            high=wanted.limit_high,
            ideal_low=limits.ideal_low,
            ideal_high=limits.ideal_high,
        )
        if high is not None and value > high + 1e-6:
            found.append(
                f"{label(name)} {amount(name, value)} stays above its ideal ({amount(name, high)}): "
                "only new water would lower it, and it is inside the limits, so it is left."
            )
        elif low is not None and value < low - 1e-6:
            found.append(
                f"{label(name)} {amount(name, value)} stays below its ideal ({amount(name, low)}), "
                "inside the limits."
            )
    return found


def _index(scene: Scene, done: Prescription) -> list[str]:
    index = done.expected.get("saturation_index")
    if index is None or not scene.has("calcium_hardness_mg_l") or index <= SCALE_FORMS_ABOVE:
        return []
    return [f"Saturation index {index:.1f}: scale may form, and then these figures no longer hold."]


def _air(scene: Scene, done: Prescription) -> list[str]:
    """pH low while alkalinity is high: air raises pH without a base."""
    ph, ta = done.expected.get("ph"), done.expected.get("total_alkalinity_mg_l")
    wanted = scene.targets.get("ph")
    if (
        wanted is None
        or ph is None
        or ta is None
        or wanted.aim_low is None
        or "cloudy" in scene.request.signs
    ):
        return []
    halogen, needed = done.expected.get(scene.request.halogen), scene.targets.get(scene.request.halogen)
    if halogen is None or needed is None or needed.misses(halogen) or ph >= wanted.aim_low - 1e-3:
        return []
    return ["Running the air raises pH without a product; it makes spray, so only with sanitiser in range."]


def _time(scene: Scene, told: Clock) -> list[str]:
    on_site = scene.request.number("minutes_on_site")
    if on_site is None or told.ends_at <= on_site:
        return []
    return [
        f"The steps before leaving take {minutes(told.ends_at)}, more than the {minutes(on_site)} on site: "
        "stay, come back, or hand the retest over; the spa stays closed."
    ]


def _system(scene: Scene, done: Prescription) -> list[str]:
    found = list(BY_SHELL[scene.request.shell]) if scene.request.shell != "acrylic" else []
    if scene.request.sanitiser == "bromine":
        if scene.request.shell == "wood":
            found.append(
                "Bromine does not suit wooden tubs unless the maker allows it (common practice, no source)."
            )
        if (scene.value("cyanuric_acid_mg_l") or 0.0) > 0:
            found.append("Cyanuric acid does nothing for bromine: use an oxidiser without it.")
        if not scene.has("bromide_mg_l") and not scene.request.fresh_fill:
            found.append(
                "Bromide was not read and is not known: enter it from the record of doses and drains."
            )
    if scene.request.sanitiser == "chlorine" and (scene.value("bromide_mg_l") or 0.0) > 0:
        found.append("Bromide in a chlorine spa turns chlorine into bromine: drain, purge and refill.")
    if any(
        dose.product.substance in pairs.ISOCYANURATES for round_ in done.rounds for dose in round_.doses
    ) and not scene.has("cyanuric_acid_mg_l"):
        found.append("This chlorine leaves cyanuric acid, which was not read: test it at this visit.")
    if scene.request.changeover_from not in (None, scene.request.sanitiser):
        found.append("Change-over: closed throughout; draining and refilling is the first choice.")
    if not scene.ph_trusted:
        found.append("So much sanitiser shifts the pH indicator: no pH dose before a retest.")
    return found


def _feeder(scene: Scene) -> list[str]:
    """Slow tablets (common practice, no source): three a week in a household tub, six in heavy use."""
    tablets = [product for product in scene.request.products if product.in_feeder]
    if not tablets or scene.halogen_high:
        return []
    heavy = (scene.request.number("bathers_expected") or 0) >= HEAVY_BATHERS
    a_week = FEEDER_TABLETS_A_WEEK_HEAVY if heavy else FEEDER_TABLETS_A_WEEK
    count = max(1, round(a_week * scene.request.volume_l / FEEDER_VOLUME_L))
    return [
        f"Feeder: about {count} slow tablets a week for this volume (common practice, no source); "
        "lift the feeder out while people bathe."
    ]


def _unmeasured(scene: Scene) -> list[str]:
    asked = ("total_alkalinity_mg_l", "calcium_hardness_mg_l", "temperature_c", scene.request.halogen)
    missing = [label(name).lower() for name in asked if not scene.has(name)]
    return [f"Not measured, so neither judged nor dosed: {', '.join(missing)}."] if missing else []
