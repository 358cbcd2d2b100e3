"""The plan in force meets the day: a visit moved by hand, somebody off, an urgent call, a week half done."""

from datetime import datetime, time, timedelta
from typing import Any

import pytest
import time_machine

from service.rounds.keep_plan import keep_plan, placement_of_rows
from service.rounds.models import DayOff, PlannedVisit, WeekPlan
from service.rounds.move_effect import preview_move
from service.rounds.moves import move_visit, pin, unassign
from service.rounds.plan_comparison import compare
from service.rounds.plan_drafts import set_plan_aside
from service.rounds.publish import publish_week, unpublish_week
from service.rounds.replan import Window, take_slot, technician_off, urgent_call
from service.visits.editing import Refused
from service.visits.models import Visit, VisitState
from tests.personas import Firm
from tests.rounds.checker import broken_rules
from tests.rounds.week_scene import (
    MONDAY,
    built,
    inputs_for,
    kept,
    owed_to,
    second_technician,
    spas_around,
    week_shifts,
)

BEFORE = datetime.combine(MONDAY - timedelta(days=3), time(12)).astimezone()
TUESDAY = MONDAY + timedelta(days=1)


@pytest.fixture(autouse=True)
def _friday_before() -> Any:
    with time_machine.travel(BEFORE, tick=False):
        yield


@pytest.fixture
def week(in_firm: Firm) -> Any:
    """Firm, what is owed, both people, and the published plan of their week."""
    owed = [owed_to(spa) for spa in spas_around(in_firm, 12)]
    people = in_firm.technician, second_technician(in_firm)
    plan = kept(
        in_firm,
        inputs_for(in_firm, owed, week_shifts(*people, opens=time(8), closes=time(12, 30), break_minutes=0)),
    )
    publish_week(plan=plan, by=in_firm.office)
    plan.refresh_from_db()
    return in_firm, owed, people, plan


def first_of(plan: WeekPlan) -> PlannedVisit:
    row = plan.visits.filter(day__isnull=False).select_related("plan__organisation", "spa").first()
    assert row is not None
    return row


def test_a_move_is_told_before_it_is_done_and_the_day_follows(week: Any) -> None:
    firm, _, (_, ada), plan = week
    row = first_of(plan)
    day = MONDAY + timedelta(days=4)

    told = preview_move(row, ada, day)
    done = move_visit(planned=row, technician=ada, day=day, by=firm.office, expected_revision=plan.revision)

    assert told.driving_minutes == done.driving_minutes
    assert told.violations == ()
    before = plan.figures["driving_minutes"]
    plan.refresh_from_db()
    assert plan.figures["driving_minutes"] == pytest.approx(before + told.driving_minutes, abs=1)
    moved = PlannedVisit.objects.get(pk=row.pk)
    assert (moved.technician, moved.day, moved.visit.technician, moved.visit.planned_on) == (
        ada,
        day,
        ada,
        day,
    )
    assert Visit.objects.exclude(state=VisitState.CANCELLED).count() == 12


def test_a_move_into_trouble_says_so_and_one_without_a_shift_is_refused(week: Any) -> None:
    _, _, (bea, _), plan = week
    row = first_of(plan)

    crowded = list(plan.visits.filter(day__isnull=False).select_related("plan__organisation", "spa"))
    busiest = max(
        {(r.technician_id, r.day) for r in crowded},
        key=lambda p: sum((r.technician_id, r.day) == p for r in crowded),
    )
    other = next(r for r in crowded if (r.technician_id, r.day) != busiest)
    person = bea if busiest[0] == bea.pk else week[2][1]

    assert any(
        "later than any overtime allows" in said
        for said in preview_move(other, person, busiest[1]).violations
    )
    with pytest.raises(Refused, match="does not work on Saturday 6 June"):
        preview_move(row, bea, MONDAY + timedelta(days=5))


def test_a_visit_taken_off_its_round_waits_and_leaves_the_day(week: Any) -> None:
    firm, _, _, plan = week
    row = first_of(plan)

    unassign(planned=row, by=firm.office)

    row = PlannedVisit.objects.get(pk=row.pk)
    assert (row.day, row.technician, row.visit) == (None, None, None)
    assert row.reason
    assert Visit.objects.filter(state=VisitState.CANCELLED).count() == 1
    plan.refresh_from_db()
    assert plan.figures["unserved"] == 1


def test_when_somebody_is_off_their_visits_move_and_the_others_stay(week: Any) -> None:
    firm, owed, (bea, ada), plan = week
    day = first_of(plan).day
    who = first_of(plan).technician

    off = [
        s
        for s in week_shifts(bea, ada, opens=time(8), closes=time(12, 30), break_minutes=0)
        if (s.technician, s.day) != (who, day)
    ]
    inputs = inputs_for(firm, owed, off)
    named, made = built(inputs, steady=True)
    after = keep_plan(inputs, named, made, run=None, title="Without", by=firm.office)

    assert broken_rules(made.problem.request, made.response) == []
    old, new = (placement_of_rows(list(p.visits.all())) for p in (plan, after))
    theirs = {key for key, days in old.items() if days.get(day) == str(who.pk)}
    moved = {key for key in old if old[key] != new.get(key)}
    assert theirs
    assert moved == theirs
    assert {change.spa for change in compare(after, plan).moved} == {
        row.spa.name for row in plan.visits.select_related("spa") if row.key in theirs
    }


def test_a_day_off_is_kept_and_the_week_asked_for_again(week: Any) -> None:
    firm, _, (bea, _), _ = week

    runs = technician_off(person=bea, first_day=TUESDAY, last_day=TUESDAY, reason="sick", by=firm.office)

    assert DayOff.objects.get().technician == bea
    assert [run.arguments["title"] for run in runs] == [f"Without {bea.name}, Tuesday 2 June"]
    with pytest.raises(Refused, match="is being planned already"):
        technician_off(person=bea, first_day=TUESDAY, last_day=TUESDAY, reason="sick", by=firm.owner)
    assert DayOff.objects.count() == 1


def test_an_urgent_call_is_offered_three_places_and_takes_one(week: Any) -> None:
    firm, _, _, plan = week
    (spa,) = spas_around(firm, 1)
    window = Window(days=tuple(MONDAY + timedelta(days=n) for n in range(5)))

    call = urgent_call(spa=spa, plan=plan, by=firm.office, minutes=30, window=window)
    planned = take_slot(call=call, slot=call.slots[0], plan=plan, window=window, by=firm.office)

    assert len(call.slots) == 3
    assert call.slots[0].added_minutes <= call.slots[2].added_minutes + 30
    assert call.slots[0].words.startswith(f"{planned.day:%A}")
    assert (planned.technician, planned.day) == (call.slots[0].technician, call.slots[0].day)
    assert planned.visit.planned_on == planned.day


def test_a_pinned_visit_stays_when_the_week_is_planned_anew(week: Any) -> None:
    firm, owed, people, plan = week
    row = first_of(plan)
    pin(planned=row, by=firm.office)
    shifts = week_shifts(*people, opens=time(8), closes=time(12, 30), break_minutes=0)

    after = kept(firm, inputs_for(firm, owed, shifts, previous=()))

    again = after.visits.get(key=row.key)
    assert (again.day, again.technician_id, again.pinned) == (row.day, row.technician_id, True)


def test_a_plan_that_was_put_aside_is_not_changed(week: Any) -> None:
    firm, _, _, plan = week
    unpublish_week(plan=plan, by=firm.office)
    set_plan_aside(plan=plan, by=firm.office)
    row = first_of(plan)

    for change in (pin, unassign):
        with pytest.raises(Refused, match="put aside"):
            change(planned=row, by=firm.office)

    assert placement_of_rows([first_of(plan)]) == placement_of_rows([row])
