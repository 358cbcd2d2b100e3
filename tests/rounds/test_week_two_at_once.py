"""Two people in the office at the very same time. Needs a server that really runs them side by side."""

from datetime import datetime, time, timedelta
from typing import Any

import pytest
from django.utils import timezone
from django_scopes import scope

from accounts.models import Person
from service.rounds.build_week import ask_week_plan
from service.rounds.models import PlannedRound, PlannedVisit, WeekPlan
from service.rounds.publish import publish_week
from service.runs.models import Run
from service.visits.models import Visit
from tests.personas import Firm
from tests.rounds.week_scene import spas_around
from tests.two_at_once import AT_ONCE, side_by_side

pytestmark = AT_ONCE


def coming_monday() -> Any:
    today = timezone.localdate()
    return today + timedelta(days=7 - today.weekday())


def draft(firm: Firm, title: str = "Planned anew") -> WeekPlan:
    """A plan of five visits on one Monday, written down without a search."""
    monday = coming_monday()
    moment = datetime.combine(monday, time(9)).astimezone()
    owned = {"organisation": firm.organisation}
    plan = WeekPlan.objects.create(**owned, monday=monday, title=title)
    who = {"technician": firm.technician, "day": monday}
    one = PlannedRound.objects.create(**owned, **who, plan=plan, depart_at=moment, back_at=moment)
    for number, spa in enumerate(spas_around(firm, 5)):
        PlannedVisit.objects.create(
            **owned,
            **who,
            plan=plan,
            round=one,
            key=str(number),
            spa=spa,
            arrive_at=moment,
            start_at=moment,
            leave_at=moment,
        )
    return plan


def told(outcomes: list[Any]) -> list[str]:
    return sorted(type(outcome).__name__ for outcome in outcomes)


@pytest.mark.parametrize("attempt", range(3))
def test_of_two_who_publish_a_plan_they_saw_one_is_told_of_the_other(firm: Firm, attempt: int) -> None:
    with scope(organisation=firm.organisation):
        plan = draft(firm)

    def publish_as(person: Person) -> Any:
        return lambda: publish_week(plan=plan, by=person, expected_revision=plan.revision)

    outcomes = side_by_side(firm, publish_as(firm.office), publish_as(firm.owner))

    assert told(outcomes) == ["PlanChanged", "Published"]
    with scope(organisation=firm.organisation):
        assert Visit.objects.count() == 5


@pytest.mark.parametrize("attempt", range(3))
def test_of_two_who_publish_without_looking_the_second_changes_nothing(firm: Firm, attempt: int) -> None:
    with scope(organisation=firm.organisation):
        plan = draft(firm)

    outcomes = side_by_side(
        firm,
        lambda: publish_week(plan=plan, by=firm.office),
        lambda: publish_week(plan=plan, by=firm.owner),
    )

    assert sorted((done.planned, done.kept) for done in outcomes) == [(0, 5), (5, 0)]
    with scope(organisation=firm.organisation):
        assert Visit.objects.count() == 5


@pytest.mark.parametrize("attempt", range(3))
def test_of_two_who_ask_for_the_same_week_one_is_told_it_is_being_planned(firm: Firm, attempt: int) -> None:
    outcomes = side_by_side(
        firm,
        lambda: ask_week_plan(coming_monday(), firm.office),
        lambda: ask_week_plan(coming_monday(), firm.owner),
    )

    assert told(outcomes) == ["Refused", "Run"]
    with scope(organisation=firm.organisation):
        assert Run.objects.count() == 1
