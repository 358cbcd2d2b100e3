"""Two plans side by side, worked by hand.

Before: Ada drives 10 minutes and 6 km to Tub 000 on Monday, 20 minutes and 9 km to Tub 001 on
Tuesday, and from each 10 minutes and 6 km home: 50 minutes, 27 km. After: both on Monday, the second
5 minutes and 2 km after the first: 10 + 5 + 10 = 25 minutes, 6 + 2 + 6 = 14 km; Tub 002 has no place.
"""

from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from service.rounds.figures import figures_of, moves_between
from service.rounds.keep_plan import placement_of_rows
from service.rounds.models import PlannedRound, PlannedVisit, WeekPlan
from service.rounds.plan_comparison import compare
from tests.personas import Firm
from tests.rounds.week_scene import MONDAY, second_technician, spas_around

TUESDAY = MONDAY + timedelta(days=1)


def at(day: Any, hour: int, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour, minute), tzinfo=UTC)


def round_of(plan: WeekPlan, who: Any, day: Any, back: datetime) -> PlannedRound:
    return PlannedRound.objects.create(
        organisation=plan.organisation,
        plan=plan,
        technician=who,
        day=day,
        depart_at=at(day, 8),
        back_at=back,
        back_drive_seconds=600,
        back_drive_metres=6000,
    )


def stop(one: PlannedRound, spa: Any, arrive: datetime, minutes: int, km: int) -> PlannedVisit:
    return PlannedVisit.objects.create(
        organisation=one.organisation,
        plan=one.plan,
        key=spa.name,
        spa=spa,
        round=one,
        technician=one.technician,
        day=one.day,
        arrive_at=arrive,
        start_at=arrive,
        leave_at=arrive + timedelta(minutes=30),
        drive_seconds=minutes * 60,
        drive_metres=km * 1000,
        service_minutes=30,
    )


def with_figures(plan: WeekPlan) -> WeekPlan:
    plan.figures = figures_of(plan.rounds.all(), plan.visits.all(), ZoneInfo("Europe/London")).as_json()
    plan.save()
    return plan


def test_a_visit_that_begins_shortly_before_its_window_ends_is_at_risk(in_firm: Firm) -> None:
    spas = spas_around(in_firm, 4)
    plan = WeekPlan.objects.create(organisation=in_firm.organisation, monday=MONDAY, title="Before")
    one = round_of(plan, in_firm.technician, MONDAY, at(MONDAY, 12))
    # 9:10 by the clock of London in June is 8:10 UTC; 9:24 is 14 minutes later, 9:25 is 15.
    for spa, closes in zip(spas, (time(9, 24), time(9, 25), time(9, 5), None), strict=True):
        PlannedVisit.objects.filter(pk=stop(one, spa, at(MONDAY, 8, 10), 10, 6).pk).update(window_to=closes)

    assert with_figures(plan).figures["at_risk"] == 2


def test_hours_kilometres_and_moved_visits_are_those_worked_by_hand(in_firm: Firm) -> None:
    ada = second_technician(in_firm)
    first, second, third = spas_around(in_firm, 3)
    before, after = (
        WeekPlan.objects.create(organisation=in_firm.organisation, monday=MONDAY, title=title)
        for title in ("Before", "After")
    )
    stop(round_of(before, ada, MONDAY, at(MONDAY, 8, 50)), first, at(MONDAY, 8, 10), 10, 6)
    stop(round_of(before, ada, TUESDAY, at(TUESDAY, 9)), second, at(TUESDAY, 8, 20), 20, 9)
    both = round_of(after, ada, MONDAY, at(MONDAY, 9, 25))
    stop(both, first, at(MONDAY, 8, 10), 10, 6)
    stop(both, second, at(MONDAY, 8, 45), 5, 2)
    PlannedVisit.objects.create(
        organisation=in_firm.organisation, plan=after, key=third.name, spa=third, reason="No time."
    )

    change = compare(with_figures(after), with_figures(before))

    figures = {figure.name: (figure.was, figure.now, figure.by) for figure in change.figures}
    assert figures["driving_minutes"] == (50, 25, -25)
    assert figures["kilometres"] == (27.0, 14.0, -13.0)
    assert figures["rounds"] == (2, 1, -1)
    assert figures["working_minutes"] == (60, 60, 0)
    assert figures["waiting_minutes"] == (0, 0, 0)
    assert figures["unserved"] == (0, 1, 1)
    assert [(moved.spa, moved.was, moved.now) for moved in change.moved if moved.was or moved.now] == [
        ("Tub 001", "Tuesday 2 June, Ada Quill", "Monday 1 June, Ada Quill")
    ]
    rows = (placement_of_rows(list(plan.visits.all())) for plan in (before, after))
    assert moves_between(*rows) == (1, 0)
