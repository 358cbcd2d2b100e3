"""The inspection: what a No asks for, opens and closes."""

import pytest
from django.core.exceptions import ValidationError

from accounts.access import NotAllowed
from service.chemistry.guidelines.inspection import ALL_QUESTIONS
from service.chemistry.treatment.holds import HOLDS
from service.visits.editing import Changed, Refused
from service.visits.inspection import (
    BY_KEY,
    ITEMS,
    answer_inspection,
    holds_of,
    judged_answers,
    signs_of,
)
from service.visits.models import Defect, InspectionAnswer, Severity
from tests.personas import Firm
from tests.visits.working import fresh, inspect, planned, signed, started


def test_every_question_that_a_guideline_judges_is_asked() -> None:
    assert {item.key for item in ITEMS if item.judged} == set(ALL_QUESTIONS)


def test_every_hold_of_the_chemistry_is_asked_for_and_closes() -> None:
    assert {item.hold for item in ITEMS if item.hold} == set(HOLDS)
    assert all(item.closes for item in ITEMS if item.hold)


def test_the_house_floor_questions_close() -> None:
    # House floor: clarity, suction cover, electrics (the guidelines package's own rule, no source).
    assert all(BY_KEY[key].closes for key in ("clarity", "suction_cover", "electrics"))


def test_answers_are_kept_by_line_and_others_stay(in_firm: Firm) -> None:
    visit = started(in_firm)
    for answers in ({"clarity": ("yes", "")}, {"cover": ("not_looked", "")}, {"clarity": ("no", "Milky")}):
        answer_inspection(visit=visit, answers=answers, by=in_firm.technician, expected_revision=None)

    kept = {line.item: (line.answer, line.note) for line in InspectionAnswer.objects.all()}
    assert kept == {"clarity": ("no", "Milky"), "cover": ("not_looked", "")}


def test_a_no_asks_what_is_wrong_at_its_line_and_saves_nothing(in_firm: Firm) -> None:
    visit = started(in_firm)

    with pytest.raises(ValidationError) as wrong:
        answer_inspection(
            visit=visit,
            answers={"clarity": ("yes", ""), "suction_cover": ("no", " "), "lid": ("yes", "")},
            by=in_firm.technician,
            expected_revision=None,
        )

    assert wrong.value.message_dict == {
        "suction_cover": ["Say what is wrong. Which cover, and what is wrong with it?"],
        "lid": ["This is not a line of the inspection."],
    }
    assert not InspectionAnswer.objects.exists()
    assert fresh(visit).revision == visit.revision


def test_a_no_to_something_broken_opens_one_defect(in_firm: Firm) -> None:
    visit = inspect(in_firm, started(in_firm), suction_cover="Left one loose", cover="Torn")
    inspect(in_firm, visit, suction_cover="Left one missing", cover="Torn")

    defects = {defect.item: defect for defect in Defect.objects.all()}
    assert {key: defect.severity for key, defect in defects.items()} == {
        "suction_cover": Severity.DANGER,
        "cover": Severity.SOON,
    }
    assert defects["suction_cover"].description == "Left one missing"


def test_a_no_taken_back_at_the_same_visit_takes_its_defect_back(in_firm: Firm) -> None:
    inspect(in_firm, inspect(in_firm, started(in_firm), cover="Torn"))

    assert not Defect.objects.exists()


def test_a_defect_found_earlier_stays_and_is_not_doubled(in_firm: Firm) -> None:
    visit = inspect(in_firm, started(in_firm), cover="Torn")
    found = Defect.objects.get()
    Defect.objects.filter(pk=found.pk).update(visit=planned(in_firm))

    inspect(in_firm, visit, cover="Torn more")
    inspect(in_firm, visit)

    assert list(Defect.objects.all()) == [found]


def test_what_is_no_defect_opens_none(in_firm: Firm) -> None:
    inspect(
        in_firm, started(in_firm), clarity="Milky", nobody_ill="Two guests, Monday", no_strong_smell="Yes"
    )

    assert not Defect.objects.exists()


def test_the_chemistry_is_told_of_holds_signs_and_answers(in_firm: Firm) -> None:
    visit = inspect(in_firm, started(in_firm), nobody_ill="Two guests", clarity="Milky")
    answer_inspection(
        visit=visit, answers={"electrics": ("not_looked", "")}, by=in_firm.technician, expected_revision=None
    )

    assert holds_of(visit) == ["illness"]
    assert signs_of(visit) == ["cloudy"]
    assert "electrics" not in judged_answers(visit)
    assert judged_answers(visit)["clarity"] is False


def test_the_inspection_is_refused_out_of_turn_to_strangers_and_to_the_second(
    in_firm: Firm, stranger: Firm
) -> None:
    answers = {"clarity": ("yes", "")}
    visit = planned(in_firm)
    with pytest.raises(Refused, match="Start the visit first"):
        answer_inspection(visit=visit, answers=answers, by=in_firm.technician, expected_revision=None)
    visit = started(in_firm)
    for person in (stranger.technician, in_firm.rental_manager, in_firm.auditor):
        with pytest.raises(NotAllowed):
            answer_inspection(visit=visit, answers=answers, by=person, expected_revision=None)
    with pytest.raises(Changed):
        answer_inspection(visit=visit, answers=answers, by=in_firm.technician, expected_revision=99)


def test_a_signed_inspection_says_how_to_correct_it(in_firm: Firm) -> None:
    visit = signed(in_firm)

    with pytest.raises(Refused, match="Add an amendment"):
        answer_inspection(
            visit=visit, answers={"clarity": ("no", "Milky")}, by=in_firm.technician, expected_revision=None
        )
