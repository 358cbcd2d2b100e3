"""A week is planned from what is owed, who works and the drives between, and kept as rows."""

from datetime import UTC, datetime, time, timedelta

import pytest
import time_machine

from service.rounds.keep_plan import keep_plan
from service.rounds.models import PlannedVisit
from service.rounds.problem_of_week import RoundPrices
from service.rounds.publish import publish_week
from service.rounds.week_inputs import read_inputs
from service.visits.models import Verdict, Visit, VisitState
from tests.personas import Firm
from tests.rounds.checker import broken_rules
from tests.rounds.week_scene import (
    MONDAY,
    agreed,
    at_work,
    built,
    inputs_for,
    kept,
    owed_to,
    planned_from_rows,
    second_technician,
    spas_around,
    week_shifts,
)

FRIDAY_BEFORE = datetime.combine(MONDAY - timedelta(days=3), time(12), tzinfo=UTC)
WEDNESDAY_NOON = datetime.combine(MONDAY + timedelta(days=2), time(12), tzinfo=UTC)


def test_a_week_is_planned_within_every_limit_and_kept_as_it_was_planned(in_firm: Firm) -> None:
    owed = [owed_to(spa) for spa in spas_around(in_firm, 24)]
    people = in_firm.technician, second_technician(in_firm)
    inputs = inputs_for(in_firm, owed, week_shifts(*people))

    _, made = built(inputs)
    plan = kept(in_firm, inputs)

    assert broken_rules(made.problem.request, made.response) == []
    rows = list(PlannedVisit.objects.filter(plan=plan))
    assert {row.key for row in rows} == {item.key for item in owed}
    assert plan.figures["visits"] == 24
    assert plan.figures["unserved"] == 0


def test_the_same_week_seed_and_steps_give_the_same_plan(in_firm: Firm) -> None:
    owed = [owed_to(spa) for spa in spas_around(in_firm, 14)]
    inputs = inputs_for(in_firm, owed, week_shifts(in_firm.technician, second_technician(in_firm)))

    once, again = (built(inputs)[1].response for _ in range(2))

    assert once["routes"] == again["routes"]
    assert once["cost"] == again["cost"]


def test_in_the_middle_of_the_week_what_is_signed_stays_and_the_rest_is_planned_again(
    in_firm: Firm,
) -> None:
    for spa in spas_around(in_firm, 10):
        agreed(spa)
    at_work(in_firm, in_firm.technician)
    with time_machine.travel(FRIDAY_BEFORE, tick=False):
        first = planned_from_rows(in_firm)
        publish_week(plan=first, by=in_firm.office)
    early = first.visits.exclude(day=None).order_by("day", "sequence")[:3]
    done = [(row.key, row.day, row.technician_id) for row in early]
    ended = WEDNESDAY_NOON - timedelta(hours=20)
    Visit.objects.filter(planned_visits__in=[row.pk for row in early]).update(
        state=VisitState.SIGNED, verdict=Verdict.FIT_NOW, started_at=ended, ended_at=ended
    )
    ada = second_technician(in_firm)
    at_work(in_firm, ada)

    with time_machine.travel(WEDNESDAY_NOON, tick=False):
        inputs = read_inputs(in_firm.organisation, MONDAY)
        named, made = built(inputs, now=WEDNESDAY_NOON)
        again = keep_plan(inputs, named, made, run=None, title="Again", by=in_firm.office)
        publish_week(plan=again, by=in_firm.office)

    rows = {row.key: row for row in again.visits.all()}
    assert [(key, rows[key].day, rows[key].technician_id) for key, _, _ in done] == done
    kept_keys = {key for key, _, _ in done}
    assert {row.key for row in first.visits.all()} == set(rows)
    today = WEDNESDAY_NOON.date()
    assert all(row.day is None or row.day >= today for key, row in rows.items() if key not in kept_keys)
    signed = Visit.objects.filter(state=VisitState.SIGNED)
    assert {visit.revision for visit in signed} == {0}
    assert signed.count() == 3


@pytest.mark.parametrize("swapped", [False, True])
def test_the_preferred_person_comes_even_where_moving_visits_is_free(in_firm: Firm, swapped: bool) -> None:
    people = [in_firm.technician, second_technician(in_firm)]
    owed = [owed_to(spa, preferred=people[n % 2 ^ swapped]) for n, spa in enumerate(spas_around(in_firm, 10))]
    prices = RoundPrices(driving_minute=1.0)

    plan = kept(in_firm, inputs_for(in_firm, owed, week_shifts(*people), prices=prices, previous=()))

    wanted = {item.key: item.preferred for item in owed}
    rows = plan.visits.select_related("technician")
    # Who else would come is a matter of chance: the drives are the same for both.
    assert sum(row.technician == wanted[row.key] for row in rows) >= 8
