"""The answer of `treat`: verdict, findings, steps, what is expected and what stays undone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from service.chemistry.guidelines import Finding, fit_for_use
from service.chemistry.guidelines.dosing_rules import hand_dosing_minutes
from service.chemistry.treatment import cautions
from service.chemistry.treatment.breakpoint import chased, reads_as_combined
from service.chemistry.treatment.pairs import NEUTRALISERS
from service.chemistry.treatment.plan import ALL_RULES, Rules
from service.chemistry.treatment.prescription import Prescription
from service.chemistry.treatment.remarks import remarks
from service.chemistry.treatment.request import Request
from service.chemistry.treatment.scene import Scene
from service.chemistry.treatment.steps_told import (
    BEFORE_YOU_LEAVE,
    LATER,
    Steps,
    tell_replacement,
    tell_rounds,
)
from service.chemistry.treatment.stops import Stop
from service.chemistry.treatment.timing import Clock, clock
from service.chemistry.treatment.unmet import Unmet, missed, not_planned
from service.chemistry.treatment.verdict import CLOSED, verdict
from service.chemistry.treatment.words import amount, label
from service.chemistry.waits import AFTER_DILUTION, Wait

WAIT_FOR_HALOGEN_MINUTES: Final = 1440
NEEDS_TOTAL_ALKALINITY: Final = (
    "ph",
    "total_alkalinity_mg_l",
    "carbonate_alkalinity_mg_l",
    "dissolved_inorganic_carbon_mmol_l",
    "saturation_index",
    "log10_pco2_atm",
    "hypochlorous_acid_mg_l",
    "hypochlorite_mg_l",
    "hypobromous_acid_mg_l",
)
NEEDS: Final[Mapping[str, tuple[str, ...]]] = {
    "total_alkalinity_mg_l": NEEDS_TOTAL_ALKALINITY,
    "calcium_hardness_mg_l": ("calcium_hardness_mg_l", "saturation_index"),
    "total_dissolved_solids_mg_l": ("total_dissolved_solids_mg_l",),
    "free_chlorine_mg_l": ("free_chlorine_mg_l", "hypochlorous_acid_mg_l", "hypochlorite_mg_l"),
    "total_bromine_mg_l": ("total_bromine_mg_l", "hypobromous_acid_mg_l"),
    "cyanuric_acid_mg_l": ("cyanuric_acid_mg_l",),
    "bromide_mg_l": ("bromide_mg_l",),
    "temperature_c": ("temperature_c",),
}
"""Reading -> figures that are not known without it."""


def hand_dosing_wait(request: Request) -> Wait | None:
    """What the guideline asks for after dosing by hand, None where it asks nothing."""
    rule = hand_dosing_minutes(request.guideline)
    return None if rule is None else Wait(rule[0], rule[1].source)


def planned(scene: Scene, done: Prescription, version: str, *, rules: Rules = ALL_RULES) -> dict[str, Any]:
    """The answer where a treatment was planned, or nothing was needed."""
    hand_dosing = hand_dosing_wait(scene.request)
    starts = AFTER_DILUTION.minutes if done.fraction else 0
    told = clock(done.rounds, starts_at=starts, hand_dosing=hand_dosing, pair_waits=rules.pair_waits)
    gone = [(dose.product.substance, 0) for found in done.rounds for dose in found.doses]
    after = clock(done.later, earlier=gone, hand_dosing=hand_dosing, pair_waits=rules.pair_waits)
    left = unmet(scene, done)
    steps = Steps()
    waits = _tell(steps, scene, done, told, after, left)
    fit = fit_for_use(scene.findings)
    said = verdict(
        fit_as_read=fit,
        rounds=done.rounds,
        targets=scene.targets,
        halogen=scene.request.halogen,
        replaces_water=done.fraction > 0,
        told=told,
        other_work=waits,
    )
    return {
        "fit_for_use": fit,
        "verdict": said.word,
        "fit_from_minutes": said.fit_from_minutes,
        "findings": [finding.as_dict() for finding in scene.findings],
        "treatment": steps.told,
        "expected": known(scene, done.expected),
        "wait_before_use_minutes": max(told.free_at - told.last_dose, 0) if done.rounds else 0,
        "wait_before_use_source": told.free_by.source if told.free_by else "",
        "retest": retest_of(steps.told),
        "unmet": [item.as_dict() for item in left],
        "cautions": _cautions(scene, done, steps.told, told),
        "assumed": assumed(scene),
        "engine_version": version,
    }


def _tell(
    steps: Steps, scene: Scene, done: Prescription, told: Clock, after: Clock, left: Sequence[Unmet]
) -> bool:
    """Tells every step; True where waiting is part of the work."""
    if scene.halogen_high and any(dose.in_feeder for dose in scene.request.recent):
        steps.put(
            "lift_feeder", purpose="nothing more goes in while the sanitiser is too high", wait_minutes=0
        )
    if done.fraction:
        tell_replacement(
            steps, scene, done.fraction, _why_replace(scene, done), last=not done.rounds and not done.later
        )
    blind = _doses_blind(scene, done)
    if blind:
        _tell_waiting(steps, scene, left)
    tell_rounds(steps, scene, done, done.rounds, told, when=LATER if blind else BEFORE_YOU_LEAVE)
    waits = blind or _tell_waiting(steps, scene, left)
    tell_rounds(steps, scene, done, done.later, after, when=LATER)
    if not fit_for_use(scene.findings) and not steps.told:
        outside = [finding.parameter for finding in scene.findings if finding.blocks_use]
        steps.retest([scene.request.halogen, "ph", *outside], "test again once that is mended")
    return waits


def _doses_blind(scene: Scene, done: Prescription) -> bool:
    """pH cannot be read for halogen, and nothing in the plan lowers it: time must, before any dose."""
    if scene.ph_trusted or done.fraction:
        return False
    return not any(dose.product.substance in NEUTRALISERS for found in done.rounds for dose in found.doses)


def _tell_waiting(steps: Steps, scene: Scene, left: Sequence[Unmet]) -> bool:
    """A sanitiser that is too high, or tablets that are coming: wait, then test."""
    halogen = scene.request.halogen
    if not any(item.parameter == halogen and item.waits for item in left):
        return False
    forecast = scene.request.number("forecast_minutes_until_inside")
    span = round(forecast) if forecast is not None else WAIT_FOR_HALOGEN_MINUTES
    steps.put(
        "wait",
        minutes=span,
        parameters=[halogen],
        purpose=f"closed until {label(halogen)[0].lower()}{label(halogen)[1:]} is back inside its limits",
        wait_minutes=span,
        when=LATER,
    )
    steps.retest([halogen, "ph"], "test before anyone enters", when=LATER)
    return True


def _why_replace(scene: Scene, done: Prescription) -> str:
    high = [
        f"{label(name)[0].lower() + label(name)[1:] if name != 'ph' else 'pH'} ({amount(name, value)})"
        for name, wanted in scene.targets.items()
        if (value := _as_read(scene, name)) is not None and wanted.misses(value)
    ]
    return f"Bring {' and '.join(high) or 'the water'} back inside the limits with supply water"


def _as_read(scene: Scene, name: str) -> float | None:
    return scene.combined if name == "combined_chlorine_mg_l" else scene.value(name)


def unmet(scene: Scene, done: Prescription) -> list[Unmet]:
    """Everything that stays outside its limit after the treatment."""
    used = {product.substance for product in done.usable}
    left = missed(scene, done.expected, done.targets, used, shock=done.breakpoint is not None)
    named = {item.parameter for item in left}
    return left + [item for item in not_planned(scene, done.expected) if item.parameter not in named]


def stopped(
    request: Request,
    findings: Sequence[Finding],
    stop: Stop,
    expected: Mapping[str, float | None] | None,
    scene: Scene | None,
    version: str,
) -> dict[str, Any]:
    """The answer where nothing is dosed."""
    steps = Steps()
    if stop.replaces_all and scene is not None:
        tell_replacement(steps, scene, 1.0, stop.remedy[0].upper() + stop.remedy[1:], last=True)
    for step in stop.steps:
        rest = {name: value for name, value in step.items() if name != "action"}
        steps.put(
            step["action"], wait_minutes=step.get("minutes", 0) if step["action"] == "wait" else 0, **rest
        )
    outside = {finding.parameter for finding in findings if finding.severity != "advice"}
    names = list(dict.fromkeys([stop.parameter, *sorted(outside)]))
    return {
        "fit_for_use": False,
        "verdict": CLOSED,
        "fit_from_minutes": None,
        "findings": [finding.as_dict() for finding in findings],
        "treatment": steps.told,
        "expected": None if scene is None else known(scene, expected or {}),
        "wait_before_use_minutes": 0,
        "wait_before_use_source": "",
        "retest": list(stop.retest) or retest_of(steps.told),
        "unmet": [Unmet(name, stop.reason, stop.remedy).as_dict() for name in names],
        "cautions": [cautions.LABEL_FIRST, *stop.cautions, cautions.TEST_BEFORE_ENTRY],
        "assumed": [] if scene is None else assumed(scene),
        "engine_version": version,
    }


def retest_of(steps: Iterable[Mapping[str, Any]]) -> list[str]:
    """What the last retest must read."""
    last: list[str] = []
    for step in steps:
        if step["action"] == "retest":
            last = list(step["parameters"])
    return last


def known(scene: Scene, expected: Mapping[str, float | None]) -> dict[str, float | None]:
    """Figures with everything that rests on a reading nobody took set to None: not known, never zero."""
    told = dict(expected)
    told.pop("combined_chlorine_mg_l", None)
    for reading, resting in NEEDS.items():
        if not scene.has(reading) and not _brought(scene, reading):
            told.update(dict.fromkeys(resting))
    return told


def _brought(scene: Scene, reading: str) -> bool:
    """A halogen of the other system is not expected in this water."""
    other = {"chlorine": ("total_bromine_mg_l", "bromide_mg_l"), "bromine": ("free_chlorine_mg_l",)}
    return reading in other.get(scene.request.sanitiser, ())


def assumed(scene: Scene) -> list[str]:
    """Readings that were taken as something because nobody read them."""
    names = ["temperature_c", "total_alkalinity_mg_l", "calcium_hardness_mg_l", "total_dissolved_solids_mg_l"]
    return [f"readings.{name}" for name in names if not scene.has(name)]


def _cautions(scene: Scene, done: Prescription, steps: Sequence[Mapping[str, Any]], told: Clock) -> list[str]:
    found = [cautions.LABEL_FIRST, *remarks(scene, done, told)]
    if reads_as_combined(scene) and not chased(scene):
        found.append(
            "Monopersulfate went in lately and reads as combined chlorine: it is not chased for 48 hours."
        )
    if any(step["action"] == "add" for step in steps):
        found += [*cautions.EVERY_DOSE, cautions.TEST_BEFORE_ENTRY]
    return list(dict.fromkeys([*found, *scene.notes, *done.refused]))
