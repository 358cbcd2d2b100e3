"""What is looked at before the water is tested: each line answered Yes, No or Not looked at."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.models import Person
from service.visits.editing import edit, note
from service.visits.models import Answer, Defect, InspectionAnswer, Severity, Visit

LONGEST_NOTE = 400


@dataclass(frozen=True)
class InspectionItem:
    """One line of the inspection. Yes always means that all is well.

    key          Where the chemistry judges the answer, its question's own name.
    question     Asked so that Yes is good.
    closes       A No closes the spa under every guideline set: the house floor's three questions and
                 the states in which nothing may be dosed. (A set may close on others as well.)
    what_to_ask  What a No has to be followed by.
    hold         Hold that a No puts on the water: nothing dosed, nothing drained.
    sign         What a No tells the chemistry of the water before any reading.
    judged       The chemistry judges the answer as a question of a guideline set.
    is_defect    A No is something broken, to be mended by somebody.
    """

    key: str
    question: str
    closes: bool
    what_to_ask: str
    hold: str = ""
    sign: str = ""
    judged: bool = False
    is_defect: bool = True


# The three that close and the judged ones follow the guidelines package; the rest is common
# practice, no source.
ITEMS: tuple[InspectionItem, ...] = (
    InspectionItem(
        "clarity",
        "Is the water clear, so that the bottom can be seen?",
        True,
        "What does the water look like: dull, milky, green, foaming?",
        sign="cloudy",
        judged=True,
        is_defect=False,
    ),
    InspectionItem(
        "suction_cover",
        "Are all suction and drain covers there, whole and tight?",
        True,
        "Which cover, and what is wrong with it?",
        judged=True,
    ),
    InspectionItem(
        "electrics",
        "Are breaker, cable and cabinet dry and in order?",
        True,
        "What is wrong, and is the breaker off?",
        judged=True,
    ),
    InspectionItem(
        "contamination_treated",
        "Is the water free of faeces, blood and vomit?",
        True,
        "What is in the water, and since when?",
        hold="fouling",
        judged=True,
        is_defect=False,
    ),
    InspectionItem(
        "chemicals_approved",
        "Is it known what has been put into the water?",
        True,
        "What may be in the water, and who put it in?",
        hold="unknown_product",
        judged=True,
        is_defect=False,
    ),
    InspectionItem(
        "nobody_ill",
        "Has nobody been reported ill after bathing?",
        True,
        "Who reported it, when, and how many people?",
        hold="illness",
        is_defect=False,
    ),
    InspectionItem(
        "laboratory_clear",
        "Are the last laboratory results in order, or none outstanding?",
        True,
        "Which organism, which figure, which day?",
        hold="microbiology_positive",
        is_defect=False,
    ),
    InspectionItem(
        "circulation",
        "Do the pump, the filter and the disinfection run?",
        False,
        "What does not run?",
        judged=True,
    ),
    InspectionItem(
        "bathers_within_limit",
        "Have no more people bathed than the spa is for?",
        False,
        "How many people, and when?",
        judged=True,
        is_defect=False,
    ),
    InspectionItem(
        "no_strong_smell",
        "Is there no strong smell of chlorine or bromine?",
        False,
        "What does it smell of? Air the place before leaning over the water.",
        sign="strong_smell",
        is_defect=False,
    ),
    InspectionItem("water_level", "Does the water stand where it should?", False, "How far off, and why?"),
    InspectionItem("no_leaks", "Is it dry under and around the spa?", False, "Where is it wet?"),
    InspectionItem(
        "cover", "Is the cover whole, light and locked when closed?", False, "What is wrong with the cover?"
    ),
    InspectionItem("filter", "Is the filter in place and whole?", False, "What is wrong with the filter?"),
    InspectionItem(
        "way_in", "Are steps, rail and ground safe to walk on?", False, "What could somebody slip or trip on?"
    ),
    InspectionItem(
        "rules_posted", "Are the bathing rules and the bather limit up to be read?", False, "What is missing?"
    ),
)
BY_KEY: Mapping[str, InspectionItem] = {item.key: item for item in ITEMS}
MUST_BE_ANSWERED = tuple(item.key for item in ITEMS if item.closes)


@transaction.atomic
def answer_inspection(
    *, visit: Visit, answers: Mapping[str, tuple[str, str]], by: Person, expected_revision: int | None
) -> list[InspectionAnswer]:
    """Save answers by item key: (answer, note). Items that are not named keep their answer.

    A No to something that can be mended opens a defect; taking the No back at the same visit takes
    the defect back. Of an item with an open defect no second one is made.

    Raises ValidationError by item key, NotAllowed, AlreadySigned, Changed, Refused.
    """
    checked = _checked(answers)
    row = edit(visit, by=by, expected_revision=expected_revision)
    saved = _save_answers(row, checked)
    standing = Defect.objects.filter(spa=row.spa, closed_at=None)
    # Of several for one item, the one found at this visit counts.
    open_defects = {one.item: one for one in sorted(standing, key=lambda one: one.visit_id == row.pk)}
    for key, (answer, remark) in checked.items():
        if BY_KEY[key].is_defect:
            _keep_defect(row, BY_KEY[key], answer, remark, by, still_open=open_defects.get(key))
    note(row, "visit.inspected", by=by, answers={key: answer for key, (answer, _) in checked.items()})
    return saved


def said_no(visit: Visit) -> list[InspectionAnswer]:
    """The lines of a visit that were answered No."""
    return [line for line in visit.inspection.all() if line.answer == Answer.NO]


def holds_of(visit: Visit) -> list[str]:
    """Holds that the answers put on the water, for the chemistry."""
    return [item.hold for line in said_no(visit) if (item := BY_KEY[line.item]).hold]


def signs_of(visit: Visit) -> list[str]:
    """What the answers tell the chemistry of the water: "cloudy", "strong_smell"."""
    return [item.sign for line in said_no(visit) if (item := BY_KEY[line.item]).sign]


def judged_answers(visit: Visit) -> dict[str, bool]:
    """Answers to the questions that a guideline set judges; what was not looked at is left out."""
    return {
        line.item: line.answer == Answer.YES
        for line in visit.inspection.all()
        if BY_KEY[line.item].judged and line.answer != Answer.NOT_LOOKED
    }


def _checked(answers: Mapping[str, tuple[str, str]]) -> dict[str, tuple[str, str]]:
    errors: dict[str, str] = {}
    checked: dict[str, tuple[str, str]] = {}
    for key, (answer, typed) in answers.items():
        remark = typed.strip()
        if key not in BY_KEY:
            errors[key] = "This is not a line of the inspection."
        elif answer not in Answer.values:
            errors[key] = "Answer Yes, No or Not looked at."
        elif len(remark) > LONGEST_NOTE:
            errors[key] = f"At most {LONGEST_NOTE} characters; this has {len(remark)}."
        elif answer == Answer.NO and not remark:
            errors[key] = f"Say what is wrong. {BY_KEY[key].what_to_ask}"
        else:
            checked[key] = (answer, remark)
    if errors:
        raise ValidationError(errors)
    return checked


def _save_answers(visit: Visit, checked: Mapping[str, tuple[str, str]]) -> list[InspectionAnswer]:
    known = {line.item: line for line in InspectionAnswer.objects.filter(visit=visit, item__in=checked)}
    lines = [
        known.get(key) or InspectionAnswer(organisation_id=visit.organisation_id, visit=visit, item=key)
        for key in checked
    ]
    for line in lines:
        line.answer, line.note = checked[line.item]
    InspectionAnswer.objects.bulk_create(line for line in lines if line.item not in known)
    InspectionAnswer.objects.bulk_update(known.values(), ["answer", "note"])
    return lines


def _keep_defect(
    visit: Visit, item: InspectionItem, answer: str, remark: str, by: Person, *, still_open: Defect | None
) -> None:
    found_here = still_open is not None and still_open.visit_id == visit.pk
    if answer != Answer.NO:
        # Found and taken back at this visit: it never was. One found earlier waits to be settled.
        if still_open is not None and found_here:
            still_open.delete()
        return
    if still_open is not None:
        if found_here:
            still_open.description = remark
            still_open.save(update_fields=["description"])
        return
    Defect.objects.create(
        organisation_id=visit.organisation_id,
        spa=visit.spa,
        visit=visit,
        item=item.key,
        description=remark,
        severity=Severity.DANGER if item.closes else Severity.SOON,
        found_by=by,
    )
