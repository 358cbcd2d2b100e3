"""What cannot be planned is said in words where it is, and the rest of the week is planned.

From the rows of agreements, shifts and bookings to the plan's rows, nothing left out between.
"""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from typing import Any

import pytest
import time_machine
from django.core.exceptions import ValidationError

from service.rounds.agree import add_agreement
from service.rounds.build_week import NOBODY_WORKS, ask_week_plan, build
from service.rounds.models import Booking, Frequency, PlannedVisit, WeekPlan
from service.rounds.models.agreements import weekday_bits
from service.rounds.roads.straight_line import StraightLine
from service.rounds.week_inputs import read_inputs
from service.runs.models import RunState
from service.runs.work import do_run
from tests.factories import BookingFactory, SkillFactory
from tests.personas import Firm
from tests.rounds.week_scene import MONDAY, agreed, at_work, kept, planned_from_rows, spas_around

BEFORE = datetime.combine(MONDAY - timedelta(days=3), time(12), tzinfo=UTC)


@pytest.fixture(autouse=True)
def _friday_before() -> Any:
    with time_machine.travel(BEFORE, tick=False):
        yield


@pytest.fixture
def spas(in_firm: Firm) -> list[Any]:
    """Four spas with an agreement each, and one technician at work."""
    spas = spas_around(in_firm, 4)
    for spa in spas:
        agreed(spa)
    at_work(in_firm, in_firm.technician)
    return spas


def placed(plan: WeekPlan) -> set[Any]:
    return set(PlannedVisit.objects.filter(plan=plan, day__isnull=False).values_list("spa_id", flat=True))


def said(plan: WeekPlan) -> str:
    return " ".join(f"{item['about']}: {item['text']}" for item in plan.notes)


def test_a_site_without_a_position(in_firm: Firm, spas: list[Any]) -> None:
    spas[0].site.latitude = spas[0].site.longitude = None
    spas[0].site.save()

    plan = planned_from_rows(in_firm)

    assert placed(plan) == {spa.pk for spa in spas[1:]}
    assert "Tub 000 at Site 000 is left out: the position of its site is not known." in said(plan)


def test_a_spa_that_needs_what_nobody_can_do(in_firm: Firm, spas: list[Any]) -> None:
    agreed(spas_around(in_firm, 1)[0], needs=[SkillFactory(organisation=in_firm.organisation, name="gas")])

    plan = planned_from_rows(in_firm)

    assert placed(plan) == {spa.pk for spa in spas}
    assert "left out, it needs gas and nobody has it." in said(plan)


def test_a_window_that_closes_before_it_opens(in_firm: Firm, spas: list[Any]) -> None:
    with pytest.raises(ValidationError) as wrong:
        add_agreement(
            spa=spas_around(in_firm, 1)[0],
            by=in_firm.office,
            frequency=Frequency.TIMES_A_WEEK,
            times_a_week=1,
            starts_on=MONDAY,
            window_from=time(12),
            window_to=time(9),
        )

    assert wrong.value.message_dict["window_to"] == ["The latest time must be after the earliest."]
    assert placed(planned_from_rows(in_firm)) == {spa.pk for spa in spas}


def test_a_place_where_no_road_leads(in_firm: Firm, spas: list[Any]) -> None:
    class CutOff(StraightLine):
        def matrix(self, points: Any) -> Any:
            return replace(
                super().matrix(points), unreachable={0: "The ford is closed; no road leads there."}
            )

    inputs = read_inputs(in_firm.organisation, MONDAY)
    lost = inputs.owed[0].spa

    plan = kept(in_firm, replace(inputs, travel_times=CutOff()))

    assert placed(plan) == {spa.pk for spa in spas if spa.pk != lost.pk}
    row = PlannedVisit.objects.get(plan=plan, spa=lost)
    assert (row.day, row.reason) == (None, "The ford is closed; no road leads there.")
    assert row.would_fit_if


def test_a_week_in_which_nobody_works(in_firm: Firm) -> None:
    agreed(spas_around(in_firm, 1)[0])
    run = ask_week_plan(MONDAY, in_firm.office)

    do_run(run.pk, build)

    run.refresh_from_db()
    assert (run.state, run.error) == (RunState.FAILED, NOBODY_WORKS)
    assert not WeekPlan.objects.exists()


def test_days_on_which_nobody_works_are_named(in_firm: Firm, spas: list[Any]) -> None:
    sunday = agreed(spas_around(in_firm, 1)[0], weekdays_allowed=weekday_bits([6]))

    plan = planned_from_rows(in_firm)

    assert placed(plan) == {spa.pk for spa in spas}
    row = PlannedVisit.objects.get(plan=plan, spa=sunday.spa)
    assert "Sunday 7 June" in row.reason


def test_bookings_that_overlap_are_one_stay_and_said(in_firm: Firm, spas: list[Any]) -> None:
    guests = spas[0]
    for arrives, leaves in ((1, 3), (2, 4)):
        BookingFactory(
            site=guests.site,
            arrives_at=datetime(2026, 6, arrives, 15, tzinfo=UTC),
            leaves_at=datetime(2026, 6, leaves, 9, tzinfo=UTC),
        )

    plan = planned_from_rows(in_firm)

    assert placed(plan) == {spa.pk for spa in spas}
    assert "two bookings overlap" in said(plan)
    row = PlannedVisit.objects.get(plan=plan, spa=guests)
    assert row.day not in {MONDAY + timedelta(days=n) for n in (1, 2)}


def test_five_thousand_bookings_are_read_and_the_week_is_planned(
    in_firm: Firm, spas: list[Any], django_assert_max_num_queries: Any
) -> None:
    sites = [spa.site for spa in spas]
    Booking.objects.bulk_create(
        Booking(
            organisation=in_firm.organisation,
            site=sites[n % 4],
            arrives_at=datetime(2024, 1, 1, 15, tzinfo=UTC) + timedelta(days=n // 4),
            leaves_at=datetime(2024, 1, 2, 9, tzinfo=UTC) + timedelta(days=n // 4),
        )
        for n in range(5000)
    )

    with django_assert_max_num_queries(40):
        inputs = read_inputs(in_firm.organisation, MONDAY)
    plan = kept(in_firm, inputs)

    assert placed(plan) == {spa.pk for spa in spas}
