"""The steps of a treatment in the contract's form."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from service.chemistry.treatment import cautions
from service.chemistry.treatment.levels import PLACE, Levels, levels_of
from service.chemistry.treatment.measures import measure
from service.chemistry.treatment.prescription import Prescription
from service.chemistry.treatment.rounds import (
    ALKALINITY,
    BROMIDE,
    HARDNESS,
    NEUTRALISE,
    PH,
    Given,
    Round,
    group_of,
)
from service.chemistry.treatment.scene import Scene
from service.chemistry.treatment.timing import RETEST_MINUTES, Clock, Timed
from service.chemistry.treatment.words import amount, label
from service.chemistry.waits import AFTER_DILUTION
from service.chemistry.water import Equilibrium, Water, figures

BEFORE_YOU_LEAVE: Final = "before_you_leave"
LATER: Final = "later"
KILOJOULE_PER_LITRE_KELVIN: Final = 4.186
FIGURE_OF_GROUP: Final = {
    ALKALINITY: "total_alkalinity_mg_l",
    PH: "ph",
    HARDNESS: "calcium_hardness_mg_l",
    BROMIDE: "bromide_mg_l",
}
FEEDER_TABLETS_A_WEEK: Final = 3
FEEDER_TABLETS_A_WEEK_HEAVY: Final = 6
FEEDER_VOLUME_L: Final = 1250.0
HEAVY_BATHERS: Final = 6


class Steps:
    """Collects steps, numbering them as they come."""

    def __init__(self) -> None:
        self.told: list[dict[str, Any]] = []
        self.round = 1

    def put(self, action: str, **rest: Any) -> None:
        """Adds a step; None values are left out."""
        step = {"order": len(self.told) + 1, "round": self.round, "action": action}
        self.told.append(step | {name: value for name, value in rest.items() if value is not None})

    def retest(
        self,
        parameters: Iterable[str],
        purpose: str,
        *,
        wait_minutes: int = 0,
        when: str = BEFORE_YOU_LEAVE,
        **more: Any,
    ) -> None:
        """Adds a retest, which ends the round."""
        self.put(
            "retest",
            parameters=list(dict.fromkeys(parameters)),
            minutes=RETEST_MINUTES,
            purpose=purpose,
            wait_minutes=wait_minutes,
            when=when,
            **more,
        )
        self.round += 1


def tell_replacement(steps: Steps, scene: Scene, fraction: float, purpose: str, *, last: bool) -> None:
    """Replacing water, with litres and, where the spa's rates are known, the time it takes."""
    litres = round(fraction * scene.request.volume_l)
    rate = scene.request.number("fill_l_per_minute")
    heating = _minutes_to_heat(scene, fraction)
    steps.put(
        "replace_water",
        replace_fraction=fraction,
        litres=litres,
        minutes_to_fill=None if rate is None else round(litres / rate),
        minutes_to_heat=heating,
        purpose=purpose,
        wait_minutes=AFTER_DILUTION.minutes,
        wait_source=AFTER_DILUTION.source,
        when=BEFORE_YOU_LEAVE,
        cautions=[
            "Breaker off before the level falls. Nobody in the water.",
            "Discharge only where the law allows, neutralised.",
        ],
    )
    measured = [name for name in scene.readings if name in _TESTED]
    purpose = "see what the new water made of it" if last else "see what the new water made of it, then dose"
    steps.retest(measured, purpose)


_TESTED: Final = (
    "ph",
    "total_alkalinity_mg_l",
    "calcium_hardness_mg_l",
    "cyanuric_acid_mg_l",
    "free_chlorine_mg_l",
    "total_chlorine_mg_l",
    "total_bromine_mg_l",
    "total_dissolved_solids_mg_l",
    "temperature_c",
)


def _minutes_to_heat(scene: Scene, fraction: float) -> int | None:
    power, fill = scene.request.number("heater_kw"), scene.request.fill or {}
    cold = fill.get("temperature_c")
    if power is None or cold is None:
        return None
    degrees = max(scene.water.temperature_c - cold.value, 0.0)
    energy = scene.request.volume_l * fraction * degrees * KILOJOULE_PER_LITRE_KELVIN
    return round(energy / power / 60)


def tell_rounds(
    steps: Steps, scene: Scene, done: Prescription, rounds: Sequence[Round], told: Clock, *, when: str
) -> None:
    """Every round: its doses and the retest that closes it."""
    for place, (found, times) in enumerate(zip(rounds, told.steps, strict=True)):
        for dose, timed in zip(found.doses, times, strict=False):
            _tell_dose(steps, scene, done, dose, timed, when=when)
        final = place + 1 == len(rounds)
        end = found.doses[-1].after
        steps.retest(
            _retested(scene, found),
            "test before anyone enters" if final else "enter it: the next round is worked out again from it",
            wait_minutes=times[-1].wait.minutes,
            when=when,
            wait_source=times[-1].wait.source or None,
            expected=_expected_readings(scene, end),
        )


def _tell_dose(
    steps: Steps, scene: Scene, done: Prescription, dose: Given, timed: Timed, *, when: str
) -> None:
    told = measure(dose.product, dose.grams, us_units=done.scale.us_units, fine=done.scale.fine)
    words = cautions.for_dose(dose.product.substance, shell=scene.request.shell)
    if dose.whole:
        words.append(cautions.BREAKPOINT)
    if done.scale.fine and told.units is None:
        words.append(cautions.WEIGH_FINELY)
    if steps.round > 1:
        words.append(cautions.PROVISIONAL)
    if scene.request.volume_basis == "guess":
        words.append(cautions.POUR_HALF)
    before_use = timed.before_use
    steps.put(
        "add",
        product_id=dose.product.id,
        substance=dose.product.substance,
        mass_g=told.mass_g,
        volume_ml=told.volume_ml,
        units=told.units,
        measure=told.text,
        purpose=_purpose(scene, dose),
        wait_minutes=timed.wait.minutes,
        wait_source=timed.wait.source,
        wait_before_use_minutes=None if before_use is None else before_use.minutes,
        wait_before_use_source=None if before_use is None else before_use.source,
        largest_dose_g=_most(dose, scene.request.volume_l),
        when=when,
        cautions=words,
    )


def _most(dose: Given, volume_l: float) -> float | None:
    most = dose.product.cap.g_per_m3
    return None if dose.whole or most == float("inf") else round(most * volume_l / 1000, 1)


def _purpose(scene: Scene, dose: Given) -> str:
    before, after = _levels(dose.before), _levels(dose.after)
    group = group_of(dose.product.substance)
    if dose.whole:
        name = "free_chlorine_mg_l"
        return f"Breakpoint: free chlorine from {_span(name, before, after)}"
    if group == PH:
        down = dose.after.ph < dose.before.ph
        span = f"{amount('ph', dose.before.ph)} to {amount('ph', dose.after.ph)}"
        return f"{'Lower' if down else 'Raise'} pH from {span}"
    name = FIGURE_OF_GROUP.get(group, scene.request.halogen)
    verb = "Lower" if group == NEUTRALISE else "Raise"
    return f"{verb} {label(name)[0].lower()}{label(name)[1:]} from {_span(name, before, after)}"


def _levels(found: Equilibrium) -> Levels:
    return levels_of(Water(found.totals, found.temperature_c, 0.0))


def _span(name: str, before: Levels, after: Levels) -> str:
    low, high = before[PLACE[name]], after[PLACE[name]]
    return f"{amount(name, low).removesuffix(' mg/L')} to {amount(name, high)}"


def _retested(scene: Scene, found: Round) -> list[str]:
    """What a retest must read: always sanitiser and pH, and what the round moved."""
    names = [scene.request.halogen, "ph"]
    moved = {group_of(dose.product.substance) for dose in found.doses}
    if moved & {ALKALINITY, PH}:
        names.append("total_alkalinity_mg_l")
    if HARDNESS in moved:
        names.append("calcium_hardness_mg_l")
    if scene.combined is not None and scene.request.sanitiser == "chlorine":
        names.append("total_chlorine_mg_l")
    return names


def _expected_readings(scene: Scene, end: Equilibrium) -> dict[str, float]:
    """What the retest should read, for whoever compares."""
    told: Mapping[str, float | None] = figures(Water(end.totals, end.temperature_c, 0.0), end)
    names = ("ph", "total_alkalinity_mg_l", "calcium_hardness_mg_l", scene.request.halogen)
    return {
        name: round(value, 3)
        for name in names
        if name in scene.readings and (value := told.get(name)) is not None
    }
