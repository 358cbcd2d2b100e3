"""Planning by hand: who may, what is refused, what is told about the other who changed it."""

from datetime import date, time, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.visits.editing import Changed, Refused
from service.visits.models import Visit, VisitKind, VisitState
from service.visits.plan import cancel_visit, change_plan, plan_visit
from tests.factories import PersonFactory
from tests.personas import Firm
from tests.visits.working import fresh, planned, started


def test_the_office_plans_a_visit_and_the_trail_says_so(in_firm: Firm) -> None:
    visit = planned(in_firm, window_from=time(9), window_to=time(12), changeover=True)

    assert (visit.state, visit.planned_by, visit.changeover) == (VisitState.PLANNED, in_firm.office, True)
    event = AuditEvent.objects.get(action="visit.planned")
    assert (event.actor_id, event.subject_id) == (in_firm.office.pk, str(visit.pk))


@pytest.mark.parametrize("role", ["rental_manager", "auditor"])
def test_people_who_do_not_plan_are_refused(in_firm: Firm, role: str) -> None:
    with pytest.raises(NotAllowed):
        plan_visit(
            spa=in_firm.spa,
            planned_on=timezone.localdate(),
            technician=in_firm.technician,
            by=getattr(in_firm, role),
        )


def test_a_technician_adds_a_call_out_to_their_own_day_only(in_firm: Firm) -> None:
    call_out: dict[str, Any] = {
        "spa": in_firm.spa,
        "planned_on": timezone.localdate(),
        "kind": VisitKind.CALL_OUT,
        "by": in_firm.technician,
    }

    visit = plan_visit(technician=in_firm.technician, **call_out)

    assert visit.kind == VisitKind.CALL_OUT
    with pytest.raises(NotAllowed):
        plan_visit(technician=in_firm.owner, **call_out)
    with pytest.raises(NotAllowed):
        plan_visit(technician=in_firm.technician, **{**call_out, "kind": VisitKind.ROUND})


def test_the_spa_of_another_firm_cannot_be_visited(in_firm: Firm, stranger: Firm) -> None:
    with pytest.raises(NotAllowed):
        planned(in_firm, stranger.spa)


def test_an_archived_spa_cannot_be_planned(in_firm: Firm) -> None:
    in_firm.spa.archived_at = timezone.now()

    with pytest.raises(Refused, match="archived"):
        planned(in_firm)


def test_what_is_wrong_with_a_plan_is_said_at_its_field(in_firm: Firm, stranger: Firm) -> None:
    with pytest.raises(ValidationError) as wrong:
        planned(
            in_firm,
            planned_on=timezone.localdate() - timedelta(8),
            technician=in_firm.auditor,
            window_from=time(12),
            window_to=time(9),
        )

    assert wrong.value.message_dict == {
        "planned_on": ["The day must be from 27 May 2026 to 2 June 2028."],
        "technician": [f"{in_firm.auditor.name} does not carry out visits."],
        "window_to": ["The latest time must be after the earliest."],
    }
    with pytest.raises(ValidationError, match="does not exist"):
        planned(in_firm, technician=stranger.technician)


def test_too_many_bathers_are_refused_with_the_limit(in_firm: Firm) -> None:
    with pytest.raises(ValidationError, match="less than or equal to 500"):
        planned(in_firm, bathers_expected=501)


def test_a_change_of_plan_keeps_what_is_not_named(in_firm: Firm) -> None:
    visit = planned(in_firm, instructions="Mind the step")

    change_plan(
        visit=visit, by=in_firm.office, expected_revision=visit.revision, planned_on=date(2026, 6, 10)
    )

    assert (fresh(visit).planned_on, fresh(visit).instructions) == (date(2026, 6, 10), "Mind the step")


def test_an_old_day_does_not_stand_in_the_way_of_other_changes(in_firm: Firm, clock: Any) -> None:
    visit = planned(in_firm)
    clock.shift(timedelta(days=30))

    change_plan(visit=visit, by=in_firm.office, expected_revision=visit.revision, instructions="Late")

    assert fresh(visit).instructions == "Late"


def test_the_second_of_two_planners_is_told_what_the_first_did(in_firm: Firm) -> None:
    visit = planned(in_firm)
    other = PersonFactory(organisation=in_firm.organisation, name="Second Desk", roles=["office"])
    change_plan(visit=visit, by=other, expected_revision=visit.revision, sequence=3)

    with pytest.raises(Changed) as told:
        change_plan(visit=visit, by=in_firm.office, expected_revision=visit.revision, sequence=5)

    assert told.value.revision == fresh(visit).revision
    assert [(change.by, change.what) for change in told.value.changes] == [
        ("Second Desk", "changed the plan")
    ]
    assert fresh(visit).sequence == 3


def test_a_visit_that_has_started_is_not_replanned_or_cancelled(in_firm: Firm) -> None:
    visit = started(in_firm)

    with pytest.raises(Refused, match="has started"):
        change_plan(visit=visit, by=in_firm.office, expected_revision=visit.revision, sequence=1)
    with pytest.raises(Refused, match="has started"):
        cancel_visit(visit=visit, reason="Owner rang", by=in_firm.office)


def test_a_cancelled_visit_keeps_its_reason(in_firm: Firm) -> None:
    visit = planned(in_firm)

    with pytest.raises(ValidationError, match="Say why"):
        cancel_visit(visit=visit, reason="  ", by=in_firm.office)
    cancel_visit(visit=visit, reason="Owner rang", by=in_firm.office)

    assert (fresh(visit).state, fresh(visit).end_reason) == (VisitState.CANCELLED, "Owner rang")
    assert Visit.objects.count() == 1


def test_a_field_that_is_no_part_of_the_plan_is_an_error_of_the_code(in_firm: Firm) -> None:
    visit = planned(in_firm)

    with pytest.raises(TypeError, match="verdict"):
        change_plan(visit=visit, by=in_firm.office, expected_revision=0, verdict="fit_now")
