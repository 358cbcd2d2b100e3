"""Beginning a visit and ending it without a signature."""

import pytest
from django.core.exceptions import ValidationError

from accounts.access import NotAllowed
from service.visits.closures import open_closure
from service.visits.editing import Refused
from service.visits.models import Visit, VisitState
from service.visits.open import ENDINGS, end_without_signing, hand_over, start_visit
from service.visits.treatment import do_step
from tests.factories import PersonFactory, SpaFactory
from tests.personas import Firm
from tests.visits.working import GOOD, MORNING, fresh, inspect, planned, product, read, started, with_plan


def test_starting_sets_state_time_and_technician_once(in_firm: Firm) -> None:
    visit = planned(in_firm, technician=None)

    start_visit(visit=visit, by=in_firm.technician)
    again = start_visit(visit=visit, by=in_firm.owner)

    assert (again.state, again.started_at) == (VisitState.ON_SITE, MORNING)
    assert (again.technician, again.revision) == (in_firm.technician, 1)


def test_two_people_do_not_work_on_one_spa_at_the_same_time(in_firm: Firm) -> None:
    started(in_firm)
    second = planned(in_firm)

    with pytest.raises(Refused, match=f"{in_firm.technician.name} is at work on this spa"):
        start_visit(visit=second, by=in_firm.owner)


@pytest.mark.parametrize("role", ["rental_manager", "auditor"])
def test_people_who_carry_out_no_visits_start_none(in_firm: Firm, role: str) -> None:
    with pytest.raises(NotAllowed):
        start_visit(visit=planned(in_firm), by=getattr(in_firm, role))


def test_a_stranger_starts_nothing_here(in_firm: Firm, stranger: Firm) -> None:
    with pytest.raises(NotAllowed):
        start_visit(visit=planned(in_firm), by=stranger.technician)


@pytest.mark.parametrize(
    ("state", "ending"), [(state, ending) for state, endings in ENDINGS.items() for ending in endings]
)
def test_every_ending_keeps_its_reason(in_firm: Firm, state: str, ending: str) -> None:
    visit = planned(in_firm)
    Visit.objects.filter(pk=visit.pk).update(state=state, end_reason="" if state == "planned" else "Part")

    end_without_signing(visit=visit, state=ending, reason="The dog is loose", by=in_firm.technician)

    ended = fresh(visit)
    assert (ended.state, ended.end_reason) == (ending, "The dog is loose")
    assert (ended.ended_at is None) == (ending == VisitState.PART_DONE)


def test_an_ending_needs_a_reason_and_must_fit_the_state(in_firm: Firm) -> None:
    visit = planned(in_firm)

    with pytest.raises(ValidationError, match="Say in a few words"):
        end_without_signing(visit=visit, state=VisitState.NO_ACCESS, reason="", by=in_firm.technician)
    with pytest.raises(ValidationError, match="Choose how the visit ended"):
        end_without_signing(visit=visit, state=VisitState.PART_DONE, reason="Later", by=in_firm.technician)
    with pytest.raises(ValidationError, match="Choose how the visit ended"):
        end_without_signing(visit=visit, state=VisitState.SIGNED, reason="Trick", by=in_firm.technician)


def test_a_part_done_visit_is_gone_on_with(in_firm: Firm) -> None:
    visit = started(in_firm)
    end_without_signing(visit=visit, state=VisitState.PART_DONE, reason="Filling", by=in_firm.technician)

    assert start_visit(visit=visit, by=in_firm.technician).state == VisitState.ON_SITE


def test_a_visit_that_ends_after_an_unfit_reading_leaves_the_spa_closed(in_firm: Firm) -> None:
    visit = read(in_firm, started(in_firm), {**GOOD, "free_chlorine_mg_l": "0.4"})

    end_without_signing(visit=visit, state=VisitState.BATHERS, reason="Six people", by=in_firm.technician)

    closure = open_closure(in_firm.spa)
    assert closure is not None
    assert "Free chlorine reads 0.4 mg/L, below 3" in closure.reason


def test_a_visit_that_ends_after_a_dose_leaves_the_spa_closed(in_firm: Firm) -> None:
    visit = read(in_firm, started(in_firm), GOOD)
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    do_step(step=dose, by=in_firm.technician, expected_revision=None)

    end_without_signing(visit=visit, state=VisitState.NO_ACCESS, reason="Sent away", by=in_firm.technician)

    closure = open_closure(in_firm.spa)
    assert closure is not None
    assert "no verdict was signed after it" in closure.reason


@pytest.mark.parametrize("values", [{}, GOOD, {"ph": "7.4"}], ids=["nothing read", "good water", "only pH"])
def test_a_visit_that_ends_with_nothing_against_the_water_closes_nothing(
    in_firm: Firm, values: dict[str, str]
) -> None:
    visit = read(in_firm, inspect(in_firm, started(in_firm)), values)

    end_without_signing(visit=visit, state=VisitState.NO_ACCESS, reason="Locked", by=in_firm.technician)

    assert open_closure(in_firm.spa) is None


def test_handing_over_plans_the_same_visit_for_the_other(in_firm: Firm) -> None:
    colleague = PersonFactory(organisation=in_firm.organisation, roles=["technician"])
    visit = planned(in_firm, changeover=True, instructions="Mind the step", sequence=4)

    taken = hand_over(visit=visit, to=colleague, reason="Van broke down", by=in_firm.technician)

    assert fresh(visit).state == VisitState.HANDED_OVER
    assert (taken.technician, taken.state, taken.spa) == (colleague, VisitState.PLANNED, visit.spa)
    assert (taken.changeover, taken.instructions, taken.sequence) == (True, "Mind the step", 4)


def test_a_visit_is_handed_only_to_somebody_who_carries_it_out(in_firm: Firm, stranger: Firm) -> None:
    visit = planned(in_firm)

    with pytest.raises(ValidationError, match="does not carry out visits"):
        hand_over(visit=visit, to=in_firm.auditor, reason="Sick", by=in_firm.office)
    with pytest.raises(ValidationError, match="already"):
        hand_over(visit=visit, to=in_firm.technician, reason="Sick", by=in_firm.office)
    with pytest.raises(NotAllowed):
        hand_over(visit=visit, to=stranger.technician, reason="Sick", by=in_firm.office)
    assert fresh(visit).state == VisitState.PLANNED


def test_another_spa_at_the_same_stop_can_be_worked_on_meanwhile(in_firm: Firm) -> None:
    started(in_firm)

    assert started(in_firm, SpaFactory(site=in_firm.site)).state == VisitState.ON_SITE
