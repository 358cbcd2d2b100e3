"""A signed record as a page: what it says, in the words that its commitments stand for.

Everything comes from the record itself, not from the spa as it is today: the guideline set, the
sanitiser and the volume are those it was signed with.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from service.chemistry.errors import InputError
from service.chemistry.guidelines import Band, band, get
from service.chemistry.guidelines.inspection import ALL_QUESTIONS
from service.chemistry.guidelines.parameters import PARAMETERS
from service.shell.bandline import BandLine
from service.visits.bands import line_of, short
from service.visits.models import Amendment, Moment, Reading, Record, TaskKind, Verdict
from service.visits.parameters import BY_PARAMETER
from service.visits.step_words import labels

ERASED = "erased"
ANSWERS = {"yes": "Yes", "no": "No", "not_looked": "Not looked at"}
TASK_STATES = {"due": "left to do", "done": "done", "not_done": "not done"}
STEP_STATES = {"left_for_later": "left for later", "done": "done", "skipped": "skipped"}
STEP_NAMES = {"add": "Add", "wait": "Wait", "retest": "Test again", "replace_water": "Replace water"}


@dataclass(frozen=True)
class ReadingRow:
    """One reading as the record's page shows it. line: its band line, None without a picture."""

    label: str
    unit: str
    moment: str
    figure: str
    typed: str
    reading: Reading
    line: BandLine | None


class Words:
    """The personal data of a record by the name that its content gives them."""

    def __init__(self, record: Record) -> None:
        self._known = {
            datum.name: ERASED if datum.erased_at else datum.value for datum in record.personal_data.all()
        }

    def of(self, committed: Mapping[str, str] | None) -> str:
        """The words behind a commitment; "" for none, "erased" once they are gone."""
        return self._known.get(committed["name"], ERASED) if committed else ""


def bands_then(record: Record) -> dict[str, Band]:
    """The guideline's ranges as they were at signing; empty when the set is not known any more."""
    spa, guideline_id = record.content["spa"], record.content["guideline"]["id"]
    try:
        guideline = get(guideline_id)
        return {
            name: band(guideline, name, sanitiser=spa["sanitiser"], setting=spa["setting"])
            for name in BY_PARAMETER
            if name in PARAMETERS
        }
    except InputError:
        return {}


def reading_rows(record: Record) -> list[ReadingRow]:
    """Readings in the order of the work, those before dosing first. Needs ``visit.readings``."""
    limits = bands_then(record)
    order = {name: place for place, name in enumerate(BY_PARAMETER)}
    readings = sorted(
        record.visit.readings.all(),
        key=lambda one: (one.moment != Moment.BEFORE, order.get(one.parameter, 99), one.taken_at),
    )
    return [_row(reading, limits.get(reading.parameter)) for reading in readings]


def _row(reading: Reading, limits: Band | None) -> ReadingRow:
    test = BY_PARAMETER[reading.parameter]
    plus_minus = f" ± {short(reading.plus_minus):f}" if reading.plus_minus else ""
    unit = f" {test.unit}" if test.unit else ""
    return ReadingRow(
        label=test.label,
        unit=test.unit,
        moment=reading.get_moment_display(),
        figure=f"{reading.bound}{short(reading.value):f}{plus_minus}{unit}",
        typed=f"{reading.typed} {reading.typed_unit}".strip() if reading.converted_from else "",
        reading=reading,
        line=line_of(reading.parameter, limits, reading=reading) if reading.governs else None,
    )


def record_context(record: Record, *, names: bool) -> dict[str, Any]:
    """What the record's page shows. names: whether the reader may see who did the work."""
    content, words = record.content, Words(record)
    verdict = content["verdict"]
    people = {person["number"]: words.of(person["name"]) for person in content["people"]}
    return {
        "verdict": Verdict(verdict["verdict"]).label,
        "place": {name: words.of(content[name]["name"]) for name in ("client", "site", "spa")},
        "guideline": content["guideline"],
        "volume_l": content["spa"]["volume_l"],
        "retest_by": words.of(verdict["retest_by"]) if names else "",
        "note_to_owner": words.of(verdict["note_to_owner"]),
        "signed_by": people.get(content["signature"]["by"], "") if names else "",
        "findings": [_finding(each) for each in content["decisions"][-1]["findings"]]
        if content["decisions"]
        else [],
        "readings": reading_rows(record),
        "steps": [_step(step, words, names=names) for step in content["steps"]],
        "tasks": [_task(task, words, names=names) for task in content["tasks"]],
        "inspection": [
            {
                "question": line["question"],
                "answer": ANSWERS.get(line["answer"], line["answer"]),
                "note": words.of(line["note"]),
            }
            for line in content["inspection"]
        ],
        "defects": [words.of(defect["description"]) for defect in content["defects"]],
        "closures": [words.of(closure["reason"]) for closure in content["closures"]],
    }


def _finding(found: Mapping[str, Any]) -> dict[str, str]:
    """A finding as a sentence, with its source: "Free chlorine 0.4 mg/L, below 3 mg/L"."""
    return {"words": finding_sentence(found), "source": found["source"] or ""}


def finding_sentence(found: Mapping[str, Any]) -> str:
    """What was found, from the figures that the record holds.

    >>> finding_sentence({"parameter": "ph", "value": "8.1", "bound": None, "unit": "", "low": "7.2",
    ...                   "high": "7.8", "severity": "out_of_range", "near_limit": False})
    'pH 8.1, above 7.8.'
    >>> finding_sentence({"parameter": "clarity", "value": None})
    'The water is not clear enough to see the bottom.'
    """
    name = found["parameter"]
    if name in ALL_QUESTIONS:
        return f"{ALL_QUESTIONS[name]}."
    label = PARAMETERS[name].label if name in PARAMETERS else name.replace("_", " ").capitalize()
    if found["value"] is None:
        return f"{label} was not measured."
    unit = f" {found['unit']}" if found["unit"] else ""
    return f"{label} {found['bound'] or ''}{found['value']}{unit}{_crossed(found, unit)}."


def _crossed(found: Mapping[str, Any], unit: str) -> str:
    ideal = "the ideal " if found["severity"] == "advice" else ""
    value, low, high = (
        None if found[end] is None else Decimal(found[end]) for end in ("value", "low", "high")
    )
    assert value is not None
    if high is not None and value > high:
        return f", above {ideal}{high}{unit}"
    if low is not None and value < low:
        return f", below {ideal}{low}{unit}"
    return ", too close to the limit to tell" if found["near_limit"] else ", not allowed by this guideline"


def _step(step: Mapping[str, Any], words: Words, *, names: bool) -> dict[str, Any]:
    return {
        "what": _what(step),
        "product": (step["product"] or {}).get("name", ""),
        "planned_g": step["planned_mass_g"],
        "actual_g": step["actual_mass_g"],
        "batch": step["batch"],
        "state": STEP_STATES.get(step["state"], step["state"]),
        "reason": words.of(step["reason"]) if names else "",
    }


def _what(step: Mapping[str, Any]) -> str:
    """What a step was: "Add", "Test again: free chlorine, pH"."""
    name = STEP_NAMES.get(step["action"], step["action"].replace("_", " ").capitalize())
    # Records of the first months do not say what a retest asked for.
    asked = step.get("parameters") if step["action"] == "retest" else ()
    return f"{name}: {labels(asked)}" if asked else name


def _task(task: Mapping[str, Any], words: Words, *, names: bool) -> dict[str, Any]:
    return {
        "label": TaskKind(task["kind"]).label,
        "why": task["why"],
        "state": TASK_STATES.get(task["state"], task["state"]),
        "note": words.of(task["note"]) if names else "",
    }


def amendments_of(record: Record) -> list[Amendment]:
    return list(record.amendments.select_related("made_by"))
