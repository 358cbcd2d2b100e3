"""A treatment as sentences: what a step is, what the decision says, where the water stands."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from service.visits.bands import short
from service.visits.models import Decision, Reading, TreatmentStep
from service.visits.parameters import BY_PARAMETER

# Shown before and after, in this order.
SHOWN = (
    "free_chlorine_mg_l",
    "total_bromine_mg_l",
    "ph",
    "total_alkalinity_mg_l",
    "calcium_hardness_mg_l",
    "cyanuric_acid_mg_l",
    "total_dissolved_solids_mg_l",
    "saturation_index",
)
DECIMALS = {"ph": 1, "saturation_index": 1, "free_chlorine_mg_l": 1, "total_bromine_mg_l": 1}


@dataclass(frozen=True)
class Expected:
    """One line of the water: as it was read, as it is expected. "" where nothing is known."""

    label: str
    read: str
    after: str


@dataclass(frozen=True)
class ReadingLine:
    """A reading on the signed page: "pH" and "7.4, before dosing"."""

    label: str
    words: str


def reading_line(reading: Reading) -> ReadingLine:
    figure = f"{reading.bound}{reading.typed} {reading.typed_unit}".rstrip()
    return ReadingLine(
        BY_PARAMETER[reading.parameter].label, f"{figure}, {reading.get_moment_display().lower()}"
    )


def headline(step: TreatmentStep) -> str:
    """What a step is: "Bicarbonate: 112 g (about 4½ level 25 mL scoops)"."""
    plan = step.planned
    if step.action == "add":
        return f"{step.product.name if step.product else 'Product'}: {amount(step)}"
    if step.action == "replace_water":
        share = round(100 * float(plan.get("replace_fraction", 0)))
        litres = f"{float(plan['litres']):.0f} L, " if plan.get("litres") else ""
        return f"Replace water: {litres}{share} % of it"
    if step.action == "retest":
        return f"Test again: {labels(plan.get('parameters', ()))}"
    minutes = plan.get("minutes") or plan.get("wait_minutes")
    words = {
        "run_air": "Run the air",
        "wait": "Wait",
        "lift_feeder": "Lift the feeder out of the water",
        "load_feeder": "Load the feeder",
    }.get(step.action, step.action.replace("_", " ").capitalize())
    return f"{words}, {minutes_words(minutes)}" if minutes else words


def amount(step: TreatmentStep) -> str:
    """Grams and the measure: "165 g, 150 mL"; a dose of one's own has its grams alone."""
    mass = step.planned_mass_g if step.planned_mass_g is not None else step.actual_mass_g
    grams = f"{short(mass):f} g" if mass is not None else ""
    measure = str(step.planned.get("measure") or "")
    if measure.startswith(grams):
        return measure or grams
    return f"{grams}, {measure}" if measure else grams


def labels(parameters: Iterable[str]) -> str:
    """Names of parameters within a sentence: "free chlorine, pH"."""
    names = [BY_PARAMETER[name].label for name in parameters if name in BY_PARAMETER]
    return ", ".join(name if name == "pH" else name[0].lower() + name[1:] for name in names) or "the water"


def minutes_words(minutes: float) -> str:
    """A stretch of time as people say it.

    >>> minutes_words(20), minutes_words(240)
    ('20 min', '4 h')
    """
    hours, rest = divmod(round(minutes), 60)
    return " ".join(filter(None, (f"{hours} h" if hours else "", f"{rest} min" if rest else ""))) or "0 min"


def verdict_sentence(decision: Decision) -> str:
    """What the decision says of the water as it was read, first of all whether people may enter."""
    answer = decision.response
    closing = next((item for item in answer.get("findings", ()) if item.get("blocks_use")), None)
    if answer["verdict"] == "fit_now":
        return "People may be let in once the visit is signed: nothing has to be added."
    if answer["verdict"] == "fit_from":
        wait = answer.get("fit_from_minutes") or answer.get("wait_before_use_minutes")
        after = f" {minutes_words(wait)} after the last dose" if wait else " after the waits below"
        return f"People may be let in{after}: nothing that is added can push the water out."
    if closing:
        return f"Do not let people in. {closing.get('message', '')}"
    return "Do not let people in until the water was treated and tested again."


def cautions(decision: Decision) -> list[str]:
    """The cautions of the whole treatment, each once, in the order in which they come."""
    steps = decision.response.get("treatment", ())
    every = [words for step in steps for words in step.get("cautions", ())]
    return list(dict.fromkeys([*every, *decision.response.get("cautions", ())]))


def expected_lines(decision: Decision, water: Mapping[str, Any] | None) -> list[Expected]:
    """The water as read beside the water expected: after what was really added, where that is known."""
    after = water or decision.response.get("expected") or {}
    read = decision.request.get("readings", {})
    lines = []
    for name in SHOWN:
        before, then = read.get(name), after.get(name)
        if then is None or (name not in read and name != "saturation_index"):
            continue
        value = before.get("value") if isinstance(before, Mapping) else before
        lines.append(Expected(_label(name), _figure(name, value), _figure(name, then)))
    return lines


def _label(name: str) -> str:
    test = BY_PARAMETER.get(name)
    return test.label if test else "Saturation index (calcite)"


def _figure(name: str, value: Any) -> str:
    if value is None:
        return ""
    test = BY_PARAMETER.get(name)
    return f"{float(value):z.{DECIMALS.get(name, 0)}f} {test.unit if test else ''}".rstrip()
