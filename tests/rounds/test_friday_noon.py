"""Next week is planned on Friday at noon of each firm's own clock, once, and never over a plan."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django_scopes import scope

from service.rounds.friday_noon import TITLE, plan_next_weeks
from service.rounds.models import WeekPlan
from service.runs.models import Run
from tests.personas import Firm
from tests.rounds.week_scene import agreed, at_work, spas_around

NEXT_MONDAY = date(2026, 6, 8)
FRIDAY = date(2026, 6, 5)
AUCKLAND, LOS_ANGELES = "Pacific/Auckland", "America/Los_Angeles"


def at_noon(zone: str, minutes: int = 0) -> datetime:
    noon = datetime(FRIDAY.year, FRIDAY.month, FRIDAY.day, 12, tzinfo=ZoneInfo(zone))
    return noon.astimezone(UTC) + timedelta(minutes=minutes)


def asked(now: datetime) -> int:
    with time_machine.travel(now, tick=False):
        return plan_next_weeks(now)


def ready(firm: Firm, zone: str) -> None:
    """An agreement and a shift, so that there is something to plan."""
    firm.organisation.time_zone = zone
    firm.organisation.save()
    with scope(organisation=firm.organisation):
        agreed(spas_around(firm, 1)[0])
        at_work(firm, firm.technician)


@pytest.fixture
def two_firms(firm: Firm, stranger: Firm) -> tuple[Firm, Firm]:
    ready(firm, AUCKLAND)
    ready(stranger, LOS_ANGELES)
    return firm, stranger


def weeks_asked(firm: Firm) -> list[Any]:
    with scope(organisation=firm.organisation):
        return [(run.arguments["monday"], run.arguments["title"], run.asked_by) for run in Run.objects.all()]


def test_each_firm_is_asked_for_at_its_own_noon_and_once(two_firms: tuple[Firm, Firm]) -> None:
    early, late = two_firms

    assert asked(at_noon(AUCKLAND, -1)) == 0
    assert asked(at_noon(AUCKLAND)) == 1
    assert asked(at_noon(AUCKLAND, 15)) == 0
    assert weeks_asked(early) == [(NEXT_MONDAY.isoformat(), TITLE, None)]
    assert weeks_asked(late) == []
    assert asked(at_noon(LOS_ANGELES)) == 1
    assert weeks_asked(late) == [(NEXT_MONDAY.isoformat(), TITLE, None)]
    assert len(weeks_asked(early)) == 1


def test_a_week_that_has_a_plan_already_is_left_alone(firm: Firm) -> None:
    ready(firm, AUCKLAND)
    with scope(organisation=firm.organisation):
        WeekPlan.objects.create(organisation=firm.organisation, monday=NEXT_MONDAY, title="By hand")

    assert asked(at_noon(AUCKLAND)) == 0


def test_a_week_of_which_the_planning_failed_is_not_asked_for_every_quarter_of_an_hour(firm: Firm) -> None:
    ready(firm, AUCKLAND)
    asked(at_noon(AUCKLAND))
    with scope(organisation=firm.organisation):
        Run.objects.update(state="failed", error="The road server did not answer.")

    assert asked(at_noon(AUCKLAND, 15)) == 0


def test_a_firm_without_agreements_is_not_troubled(firm: Firm) -> None:
    assert asked(at_noon("UTC", 24 * 60)) == 0
    assert weeks_asked(firm) == []
