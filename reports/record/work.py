"""What was done at the visit: doses and other steps, tasks, inspection, defects."""

from collections.abc import Mapping, Sequence
from typing import Any

from reportlab.platypus import Flowable

from reports.paper.pieces import Cell, bullets, gap, section, table, words
from reports.quantities import mass, percent
from reports.record.reader import Edition
from reports.record.readings import Row, corrections
from service.chemistry.treatment.cautions import LABEL_FIRST, TEST_BEFORE_ENTRY, for_dose
from service.visits.fresh_fill import FRESH_FILL
from service.visits.models import Answer, Severity, TaskKind, TaskState

ADDED = "What was added"
_ACTIONS: Mapping[str, str] = {
    "add": "Add",
    "replace_water": "Replace water",
    "retest": "Test again",
    "run_air": "Run the air",
    "wait": "Wait",
    "lift_feeder": "Lift the feeder out",
    "load_feeder": "Load the feeder",
}
_LINES: Mapping[str, str] = {line.key: line.text for line in FRESH_FILL}


def treatment_section(edition: Edition, width: float) -> list[Flowable]:
    steps = edition.content["steps"]
    if not steps:
        nothing = words("Nothing was added to the water and none of it was replaced.")
        return section(ADDED, nothing, width=width)
    what = width - 20 - 74 - 74 - 92 - 62
    rows = [row for step in steps for row in _step(edition, step)]
    heads = ["", "Step", "Planned", "Really added", "When", "Wait until"]
    added = table(heads, rows, [20, what, 74, 74, 92, 62])
    return [*section(ADDED, added, width=width), *_cautions(edition, steps, width)]


def _step(edition: Edition, step: Mapping[str, Any]) -> list[Row]:
    product = step["product"]
    name = product["name"] if product else _action(step)
    reason = edition.said(step["reason"])
    remarks = [
        f"Batch {step['batch']}{_use_by(edition, step)}" if step["batch"] else "",
        "Batch not noted" if product and not step["batch"] and step["state"] == "done" else "",
        _sentence(step["purpose"] or ""),
        f"Why: {reason}" if reason else "",
    ]
    cells: list[Cell] = [
        str(step["number"]),
        [words(name, "cell"), *(words(remark, "cell soft") for remark in remarks if remark)],
        _mass(edition, step["planned_mass_g"]),
        _done(edition, step),
        _when(edition, step),
        edition.clock_of_the_day(step["wait_until"]),
    ]
    return [cells, *corrections(edition, f"Step {step['number']}", f"Step {step['number']} {name}", name)]


def _sentence(text: str) -> str:
    """Begun with a capital, the rest as it is: "Lower pH"."""
    return text[:1].upper() + text[1:].rstrip(".")


def _action(step: Mapping[str, Any]) -> str:
    action = _ACTIONS.get(step["action"], step["action"].replace("_", " ").capitalize())
    return f"{action}: {percent(step['replace_fraction'])}" if step["replace_fraction"] else action


def _use_by(edition: Edition, step: Mapping[str, Any]) -> str:
    return f", use by {edition.day(step['batch_expires_on'])}" if step["batch_expires_on"] else ""


def _mass(edition: Edition, grams: str | None) -> str:
    return mass(grams, us_units=edition.us_units) if grams else ""


def _done(edition: Edition, step: Mapping[str, Any]) -> Flowable | str:
    if step["state"] == "done":
        return words(_mass(edition, step["actual_mass_g"]) or "Done", "cell strong")
    return "Skipped" if step["state"] == "skipped" else "Left for later"


def _when(edition: Edition, step: Mapping[str, Any]) -> str:
    if not step["done_at"]:
        return ""
    return f"{edition.clock_of_the_day(step['done_at'])}, {edition.person(step['done_by'])}"


def _cautions(edition: Edition, steps: Sequence[Mapping[str, Any]], width: float) -> list[Flowable]:
    """The usual cautions of every substance that was added, each once."""
    shell = edition.content["spa"]["shell"]
    added = [step["product"]["substance"] for step in steps if step["product"] and step["state"] == "done"]
    if not added:
        return []
    each = [caution for substance in added for caution in for_dose(substance, shell=shell)]
    listed = bullets(list(dict.fromkeys([*each, TEST_BEFORE_ENTRY])), "cell")
    return section("Cautions", words(LABEL_FIRST, "cell strong"), *listed, width=width)


def tasks_section(edition: Edition, width: float) -> list[Flowable]:
    tasks = edition.content["tasks"]
    if not tasks:
        return []
    rows = [row for task in tasks for row in _task(edition, task)]
    done = table(["Task", "Done", "Why it was due, notes"], rows, [150, 130, width - 280])
    return section("Tasks", done, width=width)


def _task(edition: Edition, task: Mapping[str, Any]) -> list[Row]:
    label = TaskKind(task["kind"]).label
    done = TaskState(task["state"]).label
    if task["done_at"]:
        done = f"{edition.clock_of_the_day(task['done_at'])}, {edition.person(task['done_by'])}"
    lines = [
        f"{edition.clock_of_the_day(line['at'])}  {_line(edition, line)}"
        for line in sorted(task["lines"], key=lambda line: line["at"])
    ]
    remarks = [task["why"], edition.said(task["note"])]
    told = [
        *(words(remark, "cell") for remark in remarks if remark),
        *(words(line, "cell soft") for line in lines),
    ]
    return [[label, done, told], *corrections(edition, label, f"Task {label}")]


def _line(edition: Edition, line: Mapping[str, Any]) -> str:
    """A line of a drain and refill, with the reason where it was passed."""
    text = _LINES.get(line["line"], line["line"])
    return f"{text} Passed: {edition.said(line['reason'])}" if line["passed"] else text


def inspection_section(edition: Edition, width: float) -> list[Flowable]:
    """What was not in order first, with its note; then everything that was answered Yes."""
    lines = edition.content["inspection"]
    if not lines:
        return section("Inspection", words("No line of the inspection was answered."), width=width)
    story: list[Flowable] = []
    plain = [line for line in lines if _is_plain_yes(edition, line)]
    others = sorted((line for line in lines if line not in plain), key=lambda line: line["answer"])
    answer = 74
    if others:
        rows = [row for line in others for row in _looked_at(edition, line)]
        wide = (width - answer) / 2
        story.append(table(["Looked at", "Answer", "Note"], rows, [wide, answer, wide]))
    if plain:
        story += [gap(2), words("Answered Yes, all in order:", "cell strong"), _in_pairs(plain, width)]
    return section("Inspection", *story, width=width)


def _is_plain_yes(edition: Edition, line: Mapping[str, Any]) -> bool:
    remarked = line["note"] or edition.corrections_of(line["question"])
    return line["answer"] == Answer.YES and not remarked


def _in_pairs(lines: Sequence[Mapping[str, Any]], width: float) -> Flowable:
    questions = [line["question"] for line in lines]
    pairs = [[*questions[start : start + 2], ""][:2] for start in range(0, len(questions), 2)]
    return table((), pairs, [width / 2, width / 2])


def _looked_at(edition: Edition, line: Mapping[str, Any]) -> list[Row]:
    cells: list[Cell] = [
        line["question"],
        words(Answer(line["answer"]).label, "cell strong"),
        edition.said(line["note"]),
    ]
    return [cells, *corrections(edition, line["question"])]


def defects_section(edition: Edition, width: float) -> list[Flowable]:
    defects = edition.content["defects"]
    if not defects:
        return []
    rows = [
        [str(number), edition.said(defect["description"]), Severity(defect["severity"]).label]
        for number, defect in enumerate(defects, start=1)
    ]
    found = table(["", "What is wrong", "How bad"], rows, [20, width - 130, 110])
    return section("Defects found", found, width=width)
