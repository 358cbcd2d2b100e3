"""A week takes in what stands in it beside the agreements: visits by hand, retests, urgent calls."""

from datetime import datetime, time, timedelta
from typing import Any

import pytest
import time_machine

from service.rounds.models import PlannedVisit, Shift, WeekPlan
from service.rounds.moves import PLANNED_BY_HAND, move_visit, unassign
from service.rounds.publish import foretell_publish, publish_week, unpublish_week
from service.rounds.replan import Window, take_slot, urgent_call
from service.rounds.standing_visits import beside, key_of
from service.rounds.week_inputs import read_inputs
from service.visits.clock import zone_of
from service.visits.editing import Refused
from service.visits.models import Visit, VisitKind, VisitState
from service.visits.plan import cancel_visit, change_plan, plan_visit
from service.visits.stops import stops_of_day
from tests.personas import Firm
from tests.rounds.week_scene import (
    MONDAY,
    agreed,
    at_work,
    planned_from_rows,
    second_technician,
    spas_around,
)

TUESDAY = MONDAY + timedelta(days=1)
WEEK = tuple(MONDAY + timedelta(days=n) for n in range(5))


@pytest.fixture(autouse=True)
def _friday_before() -> Any:
    with time_machine.travel(datetime.combine(MONDAY - timedelta(days=3), time(12)).astimezone(), tick=False):
        yield


@pytest.fixture
def scene(in_firm: Firm) -> tuple[Firm, list[Any], Any]:
    """Four spas with an agreement each, two people at work from Monday to Friday."""
    spas, ada = spas_around(in_firm, 4), second_technician(in_firm)
    at_work(in_firm, in_firm.technician, ada)
    for spa in spas:
        agreed(spa)
    return in_firm, spas, ada


def row_of(plan: WeekPlan, visit: Visit) -> PlannedVisit:
    return PlannedVisit.objects.select_related("technician").get(plan=plan, key=key_of(visit))


def published(firm: Firm) -> WeekPlan:
    plan = planned_from_rows(firm)
    publish_week(plan=plan, by=firm.office)
    plan.refresh_from_db()
    return plan


def test_a_visit_by_hand_keeps_its_day_and_person_and_the_spa_is_not_visited_twice(scene: Any) -> None:
    firm, spas, ada = scene
    by_hand = plan_visit(
        spa=spas[0],
        planned_on=TUESDAY,
        technician=ada,
        by=firm.office,
        window_from=time(10),
        window_to=time(11),
    )

    plan = published(firm)

    row = row_of(plan, by_hand)
    assert (row.technician, row.day, row.pinned, row.why) == (ada, TUESDAY, True, "Planned by hand")
    assert time(10) <= row.start_at.astimezone(zone_of(firm.organisation)).time() <= time(11)
    assert plan.visits.count() == 4
    assert Visit.objects.filter(state=VisitState.PLANNED).count() == 4
    assert Visit.objects.filter(spa=spas[0]).get() == by_hand


def test_a_retest_of_a_spa_that_also_has_its_round_is_driven_to_as_well(scene: Any) -> None:
    firm, spas, ada = scene
    retest = plan_visit(
        spa=spas[1], planned_on=TUESDAY, technician=ada, by=firm.office, kind=VisitKind.RETEST
    )

    plan = published(firm)

    assert row_of(plan, retest).why == "Retest"
    assert plan.visits.filter(spa=spas[1]).count() == 2
    on_the_day = [visit.pk for stop in stops_of_day(ada, TUESDAY) for visit in stop.visits]
    in_the_round = plan.visits.filter(technician=ada, day=TUESDAY).order_by("sequence")
    assert on_the_day == [row.visit_id for row in in_the_round]
    assert retest.pk in on_the_day


def test_a_visit_by_hand_of_nobody_gets_the_person_whose_round_takes_it_in(scene: Any) -> None:
    firm, spas, _ = scene
    by_hand = plan_visit(spa=spas[0], planned_on=TUESDAY, technician=None, by=firm.office)
    plan = planned_from_rows(firm)

    changed = foretell_publish(plan).changed
    publish_week(plan=plan, by=firm.office)

    assert [(visit.pk, row.day) for visit, row in changed] == [(by_hand.pk, TUESDAY)]
    by_hand.refresh_from_db()
    assert by_hand.technician == row_of(plan, by_hand).technician
    assert by_hand.technician is not None


def test_a_visit_by_hand_for_somebody_who_is_off_goes_to_who_works_and_that_is_said(scene: Any) -> None:
    firm, spas, ada = scene
    Shift.objects.filter(technician=ada, weekday=TUESDAY.weekday()).delete()
    by_hand = plan_visit(spa=spas[0], planned_on=TUESDAY, technician=ada, by=firm.office)

    plan = published(firm)

    by_hand.refresh_from_db()
    assert (by_hand.technician, by_hand.planned_on) == (firm.technician, TUESDAY)
    assert [note["text"] for note in plan.notes if "by hand" in note["text"]] == [
        "Tub 000 at Site 000 is planned by hand on Tuesday 2 June for Ada Quill, who does not work then:"
        " it is given to somebody who does."
    ]


def test_planning_anew_and_taking_off_leave_visits_by_hand(scene: Any) -> None:
    firm, spas, ada = scene
    by_hand = plan_visit(spa=spas[0], planned_on=TUESDAY, technician=ada, by=firm.office)
    published(firm)

    again = published(firm)
    unpublish_week(plan=again, by=firm.office)

    by_hand.refresh_from_db()
    assert (by_hand.state, by_hand.technician, by_hand.planned_on) == (VisitState.PLANNED, ada, TUESDAY)
    assert Visit.objects.filter(state=VisitState.PLANNED).count() == 1


def test_a_move_in_the_published_plan_moves_the_visit_by_hand(scene: Any) -> None:
    firm, spas, ada = scene
    by_hand = plan_visit(spa=spas[0], planned_on=TUESDAY, technician=ada, by=firm.office)
    plan = published(firm)

    move_visit(planned=row_of(plan, by_hand), technician=firm.technician, day=WEEK[3], by=firm.office)

    by_hand.refresh_from_db()
    assert (by_hand.technician, by_hand.planned_on) == (firm.technician, WEEK[3])
    with pytest.raises(Refused, match=PLANNED_BY_HAND):
        unassign(planned=row_of(plan, by_hand), by=firm.office)


def test_the_next_plan_follows_what_the_office_changed_on_the_visit_itself(scene: Any) -> None:
    firm, spas, ada = scene
    by_hand = plan_visit(spa=spas[0], planned_on=TUESDAY, technician=ada, by=firm.office)
    published(firm)
    by_hand.refresh_from_db()

    change_plan(visit=by_hand, expected_revision=by_hand.revision, by=firm.office, planned_on=WEEK[4])
    plan = published(firm)

    assert (row_of(plan, by_hand).day, row_of(plan, by_hand).technician) == (WEEK[4], ada)


def test_one_that_was_cancelled_after_the_plan_was_made_stays_cancelled(scene: Any) -> None:
    firm, spas, ada = scene
    by_hand = plan_visit(spa=spas[0], planned_on=TUESDAY, technician=ada, by=firm.office)
    plan = planned_from_rows(firm)
    cancel_visit(visit=by_hand, reason="The guests left early.", by=firm.office)

    done = publish_week(plan=plan, by=firm.office)

    assert done.planned == 3
    assert Visit.objects.filter(spa=spas[0]).get().state == VisitState.CANCELLED


def test_one_that_was_planned_after_the_plan_was_made_is_named_beside_its_rounds(
    scene: Any, sign_in: Any
) -> None:
    firm, spas, ada = scene
    plan = published(firm)
    assert beside(plan) == []
    call = plan_visit(
        spa=spas[2], planned_on=TUESDAY, technician=ada, by=firm.office, kind=VisitKind.CALL_OUT
    )

    assert beside(plan) == [call]
    page = sign_in(firm.office).get(f"/rounds/week/{MONDAY}/").content.decode()
    assert "Planned by hand beside these rounds: 1" in page
    assert f"/visits/{call.pk}/" in page


def test_an_urgent_call_stays_promised_when_the_week_is_planned_anew(scene: Any) -> None:
    firm, _, _ = scene
    plan = published(firm)
    spa, window = spas_around(firm, 1)[0], Window(days=WEEK[:3], opens=time(9), closes=time(12))
    call = urgent_call(spa=spa, plan=plan, by=firm.office, minutes=30, window=window)
    taken = take_slot(call=call, slot=call.slots[0], plan=plan, window=window, by=firm.office)

    owed = next(item for item in read_inputs(firm.organisation, MONDAY).owed if item.key == taken.key)
    again = published(firm)

    assert owed.service_minutes == 30
    assert owed.day_choices == tuple((day,) for day in WEEK[:3])
    assert {(w.opens, w.closes) for w in owed.windows} == {(time(9), time(12))}
    row = again.visits.get(key=taken.key)
    assert row.visit_id == taken.visit_id
    assert Visit.objects.get(pk=taken.visit_id).state == VisitState.PLANNED


def test_an_urgent_call_whose_place_got_lost_is_told_and_does_not_stop_the_plan(scene: Any) -> None:
    firm, _, _ = scene
    plan = published(firm)
    spa, window = spas_around(firm, 1)[0], Window(days=WEEK[:3])
    call = urgent_call(spa=spa, plan=plan, by=firm.office, minutes=30, window=window)
    taken = take_slot(call=call, slot=call.slots[0], plan=plan, window=window, by=firm.office)
    spa.site.latitude = spa.site.longitude = None
    spa.site.save()

    planned_from_rows(firm)
    again = planned_from_rows(firm)

    assert "no position on the map" in again.visits.get(key=taken.key).reason
