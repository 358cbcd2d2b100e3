"""``manage.py plan_week``: a week planned here and now, its figures printed."""

from datetime import date, timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from service.rounds.models import PlanState, WeekPlan
from tests.personas import Firm
from tests.rounds.week_scene import agreed, at_work, spas_around


def coming_monday() -> date:
    today = timezone.localdate()
    return today + timedelta(days=7 - today.weekday())


def ready(firm: Firm) -> None:
    for spa in spas_around(firm, 3):
        agreed(spa)
    at_work(firm, firm.technician)


def test_next_week_is_planned_and_kept_as_a_draft(in_firm: Firm) -> None:
    ready(in_firm)
    printed = StringIO()

    call_command("plan_week", seconds=1, stdout=printed)

    plan = WeekPlan.objects.get()
    assert (plan.monday, plan.state, plan.title) == (coming_monday(), PlanState.DRAFT, "Planned by hand")
    assert plan.figures["visits"] == 3
    lines = [line.split() for line in printed.getvalue().splitlines()]
    assert ["visits", "3"] in lines
    assert ["unserved", "0"] in lines


def test_what_stands_in_the_way_is_said(in_firm: Firm, stranger: Firm) -> None:
    with pytest.raises(CommandError, match="Say which firm"):
        call_command("plan_week")
    with pytest.raises(CommandError, match="no firm named Nowhere"):
        call_command("plan_week", organisation="Nowhere")
    name = in_firm.organisation.name
    with pytest.raises(CommandError, match="A week begins on a Monday"):
        call_command("plan_week", organisation=name, monday=coming_monday() + timedelta(1))
    with pytest.raises(CommandError, match="from 1 to 600 seconds"):
        call_command("plan_week", organisation=name, seconds=601)
    with pytest.raises(CommandError, match="owed"):
        call_command("plan_week", organisation=name, seconds=1)
