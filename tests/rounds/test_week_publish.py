"""A published plan is on people's days; publishing again, or another plan, changes only what differs."""

from datetime import datetime, time, timedelta
from typing import Any

import pytest
import time_machine

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.rounds.models import PlannedVisit, PlanState, WeekPlan
from service.rounds.plan_editing import PlanChanged
from service.rounds.publish import publish_week, unpublish_week
from service.visits.editing import Refused
from service.visits.models import Visit, VisitState
from service.visits.plan import cancel_visit, plan_visit
from service.visits.stops import stops_of_day
from tests.personas import Firm
from tests.rounds.week_scene import (
    MONDAY,
    inputs_for,
    kept,
    owed_to,
    second_technician,
    spas_around,
    week_shifts,
)

BEFORE = datetime.combine(MONDAY - timedelta(days=3), time(12)).astimezone()


@pytest.fixture(autouse=True)
def _friday_before() -> Any:
    with time_machine.travel(BEFORE, tick=False):
        yield


@pytest.fixture
def scene(in_firm: Firm) -> tuple[Firm, list[Any], list[Any]]:
    spas = spas_around(in_firm, 8)
    return in_firm, [owed_to(spa) for spa in spas], week_shifts(in_firm.technician)


def plan_of(scene: Any) -> WeekPlan:
    firm, owed, shifts = scene
    return kept(firm, inputs_for(firm, owed, shifts))


def test_a_published_plan_is_on_the_technicians_day_in_driving_order(scene: Any) -> None:
    firm = scene[0]
    plan = plan_of(scene)

    done = publish_week(plan=plan, by=firm.office, expected_revision=plan.revision)

    assert (done.planned, done.changed, done.cancelled) == (8, 0, 0)
    rows = list(PlannedVisit.objects.filter(plan=plan).order_by("day", "sequence"))
    assert all(row.visit_id for row in rows)
    for day in {row.day for row in rows}:
        stops = stops_of_day(firm.technician, day)
        assert [v.spa_id for stop in stops for v in stop.visits] == [r.spa_id for r in rows if r.day == day]
    plan.refresh_from_db()
    assert plan.is_published
    assert plan.published_by == firm.office
    assert AuditEvent.objects.filter(action="week_plan.published").count() == 1


def test_publishing_twice_changes_nothing(scene: Any) -> None:
    firm = scene[0]
    plan = plan_of(scene)
    publish_week(plan=plan, by=firm.office)
    before = list(Visit.objects.order_by("pk").values())

    done = publish_week(plan=plan, by=firm.office)

    assert (done.planned, done.changed, done.cancelled, done.kept) == (0, 0, 0, 8)
    assert list(Visit.objects.order_by("pk").values()) == before


def test_a_visit_planned_by_hand_counts_and_is_left_alone(scene: Any) -> None:
    firm = scene[0]
    plan = plan_of(scene)
    row = PlannedVisit.objects.filter(plan=plan).first()
    by_hand = plan_visit(spa=row.spa, planned_on=row.day, technician=None, by=firm.office)

    done = publish_week(plan=plan, by=firm.office)
    unpublish_week(plan=plan, by=firm.office)

    assert done.planned == 7
    by_hand.refresh_from_db()
    assert (by_hand.state, by_hand.technician) == (VisitState.PLANNED, None)
    assert Visit.objects.filter(state=VisitState.CANCELLED).count() == 7


def test_another_plan_moves_what_differs_and_touches_nothing_that_has_begun(scene: Any) -> None:
    firm, owed, _ = scene
    first = plan_of(scene)
    publish_week(plan=first, by=firm.office)
    begun = PlannedVisit.objects.filter(plan=first).order_by("day", "sequence").first().visit
    Visit.objects.filter(pk=begun.pk).update(state=VisitState.ON_SITE)
    begun.refresh_from_db()
    ada = second_technician(firm)
    fewer = kept(firm, inputs_for(firm, owed[:-1], week_shifts(ada), previous=(), pins=()))

    done = publish_week(plan=fewer, by=firm.office)

    first.refresh_from_db()
    assert first.state == PlanState.SET_ASIDE
    assert done.planned == 0
    assert done.cancelled == 1
    assert Visit.objects.exclude(state=VisitState.CANCELLED).count() == 7
    now = Visit.objects.get(pk=begun.pk)
    assert (now.technician, now.planned_on, now.revision) == (
        firm.technician,
        begun.planned_on,
        begun.revision,
    )


def test_a_visit_that_was_cancelled_is_not_brought_back(scene: Any) -> None:
    firm = scene[0]
    plan = plan_of(scene)
    publish_week(plan=plan, by=firm.office)
    cancel_visit(visit=Visit.objects.first(), reason="The tub is empty.", by=firm.office)

    done = publish_week(plan=plan, by=firm.office)

    assert (done.planned, done.changed) == (0, 0)
    assert Visit.objects.exclude(state=VisitState.CANCELLED).count() == 7


def test_somebody_who_saw_an_older_plan_is_told_who_changed_it(scene: Any) -> None:
    firm = scene[0]
    plan = plan_of(scene)
    seen = plan.revision
    publish_week(plan=plan, by=firm.owner, expected_revision=seen)

    with pytest.raises(PlanChanged, match=f"{firm.owner.name} published the plan"):
        unpublish_week(plan=plan, by=firm.office, expected_revision=seen)

    assert Visit.objects.filter(state=VisitState.CANCELLED).count() == 0


def test_a_plan_that_was_set_aside_or_is_over_is_not_published(scene: Any) -> None:
    firm = scene[0]
    old = plan_of(scene)
    newer = plan_of(scene)

    with pytest.raises(Refused, match="set aside"):
        publish_week(plan=old, by=firm.office)
    with time_machine.travel(BEFORE + timedelta(days=14)), pytest.raises(Refused, match="over"):
        publish_week(plan=newer, by=firm.office)


def test_only_who_plans_publishes_and_only_in_their_own_firm(scene: Any, stranger: Firm) -> None:
    firm = scene[0]
    plan = plan_of(scene)

    for person in (firm.technician, firm.auditor, firm.rental_manager, stranger.office):
        with pytest.raises(NotAllowed):
            publish_week(plan=plan, by=person)
