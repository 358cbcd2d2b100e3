"""Fitness belongs to a time: it lapses by itself, and nothing brings it back but a signature."""

from datetime import UTC, datetime, time, timedelta
from typing import Any

import pytest
from django.utils import timezone

from service.visits.closures import close_spa
from service.visits.fitness import fitness_of, fitness_of_spas
from service.visits.models import Verdict, Visit, VisitState
from service.visits.open import end_without_signing, hand_over
from service.visits.plan import cancel_visit
from tests.factories import PersonFactory, SpaFactory
from tests.personas import Firm
from tests.visits.working import GOOD, MORNING, fresh, planned, read, ready, sign, signed, started


def said(firm: Firm) -> tuple[str, str, str]:
    fitness = fitness_of(firm.spa, timezone.now())
    return fitness.state, fitness.shape, fitness.word


def test_a_spa_that_was_never_tested_is_not_tested(in_firm: Firm) -> None:
    fitness = fitness_of(in_firm.spa, timezone.now())

    assert (fitness.state, fitness.shape, fitness.word) == ("not_tested", "○", "Not tested")
    assert fitness.sentence == "Not tested. Do not let people in."
    assert not fitness.lets_people_in


def test_a_signed_visit_makes_it_fit_until_the_next_test_is_due(in_firm: Firm, clock: Any) -> None:
    # 25-C DCMR 412.1(k)-(n), read second-hand: sanitiser and pH every three hours.
    signed(in_firm)

    fitness = fitness_of(in_firm.spa, timezone.now())

    assert (fitness.state, fitness.shape, fitness.word) == ("fit", "●", "Fit for use")
    assert (fitness.since, fitness.until) == (MORNING, MORNING + timedelta(hours=3))
    assert fitness.sentence == "Fit since 10:00, next test due 13:00."
    clock.move_to(MORNING + timedelta(hours=3) - timedelta(seconds=1))
    assert said(in_firm) == ("fit", "●", "Fit for use")
    clock.move_to(MORNING + timedelta(hours=3))
    assert said(in_firm) == ("not_tested", "○", "Not tested since 10:00")
    clock.move_to(MORNING + timedelta(days=1))
    assert said(in_firm) == ("not_tested", "○", "Not tested since 3 Jun 10:00")


def test_where_the_set_states_no_time_it_holds_a_day(in_firm: Firm) -> None:
    # New York 10 NYCRR 6-1.25 has no test frequency here; a day is the house's own rule, no source.
    in_firm.spa.guideline_id = "new_york_6_1"
    in_firm.spa.save()
    signed(in_firm)

    assert fitness_of(in_firm.spa, timezone.now()).until == MORNING + timedelta(hours=24)


def test_it_lapses_when_guests_change(in_firm: Firm, clock: Any) -> None:
    in_firm.spa.guideline_id = "new_york_6_1"
    in_firm.spa.save()
    signed(in_firm)
    planned(in_firm, planned_on=MORNING.date() + timedelta(1), window_from=time(9), changeover=True)

    # 09:00 on the firm's clock is 08:00 UTC in June.
    guests_leave = datetime(2026, 6, 4, 8, 0, tzinfo=UTC)
    assert fitness_of(in_firm.spa, timezone.now()).until == guests_leave
    clock.move_to(guests_leave)
    assert said(in_firm) == ("not_tested", "○", "Not tested since 3 Jun 10:00")


def test_a_changeover_without_a_time_lapses_it_from_midnight(in_firm: Firm, clock: Any) -> None:
    in_firm.spa.guideline_id = "new_york_6_1"
    in_firm.spa.save()
    signed(in_firm)
    planned(in_firm, planned_on=MORNING.date() + timedelta(1), changeover=True)

    clock.move_to(datetime(2026, 6, 3, 22, 59, tzinfo=UTC))
    assert said(in_firm)[0] == "fit"
    clock.move_to(datetime(2026, 6, 3, 23, 0, tzinfo=UTC))
    assert said(in_firm)[0] == "not_tested"


@pytest.mark.parametrize("ending", ["missed", "no_access"])
def test_a_changeover_that_nobody_tested_at_still_lapses_it(in_firm: Firm, clock: Any, ending: str) -> None:
    in_firm.spa.guideline_id = "new_york_6_1"
    in_firm.spa.save()
    signed(in_firm)
    clock.shift(timedelta(hours=1))
    visit = planned(in_firm, window_from=time(11), changeover=True)
    end_without_signing(visit=visit, state=ending, reason="Nobody in", by=in_firm.technician)

    assert said(in_firm)[0] == "not_tested"


def test_a_changeover_that_was_called_off_or_handed_over_lapses_nothing_itself(in_firm: Firm) -> None:
    in_firm.spa.guideline_id = "new_york_6_1"
    in_firm.spa.save()
    colleague = PersonFactory(organisation=in_firm.organisation, roles=["technician"])
    tomorrow = MORNING.date() + timedelta(1)
    signed(in_firm)
    cancel_visit(
        visit=planned(in_firm, planned_on=tomorrow, changeover=True),
        reason="Booking moved",
        by=in_firm.office,
    )
    assert fitness_of(in_firm.spa, timezone.now()).until == MORNING + timedelta(hours=24)

    taken = hand_over(
        visit=planned(in_firm, planned_on=tomorrow, changeover=True),
        to=colleague,
        reason="Sick",
        by=in_firm.office,
    )
    assert taken.changeover
    assert fitness_of(in_firm.spa, timezone.now()).until == datetime(2026, 6, 3, 23, 0, tzinfo=UTC)


def test_the_changeover_visit_itself_makes_it_fit_again(in_firm: Firm) -> None:
    signed(in_firm, changeover=True)

    assert said(in_firm)[0] == "fit"


def test_closing_by_hand_ends_it_at_once(in_firm: Firm) -> None:
    signed(in_firm)
    close_spa(spa=in_firm.spa, reason="Guest reports a shock from the rail", by=in_firm.office)

    fitness = fitness_of(in_firm.spa, timezone.now())

    assert (fitness.state, fitness.shape, fitness.word) == ("closed", "■", "Closed")
    assert fitness.sentence == (
        "Do not let people in. Closed since 10:00: Guest reports a shock from the rail."
        " It reopens by a reading."
    )


def test_while_somebody_works_on_the_water_it_is_closed(in_firm: Firm, clock: Any) -> None:
    signed(in_firm)
    clock.shift(timedelta(minutes=30))
    visit = started(in_firm)
    assert said(in_firm)[0] == "fit"

    read(in_firm, visit, GOOD)

    fitness = fitness_of(in_firm.spa, timezone.now())
    assert (fitness.state, fitness.shape) == ("closed", "■")
    assert "Being worked on since 10:30" in fitness.sentence


def test_part_done_work_keeps_it_closed_until_something_newer_is_signed(in_firm: Firm, clock: Any) -> None:
    visit = read(in_firm, started(in_firm), GOOD)
    end_without_signing(visit=visit, state=VisitState.PART_DONE, reason="Filling", by=in_firm.technician)
    assert said(in_firm)[0] == "closed"

    clock.shift(timedelta(hours=1))
    signed(in_firm)

    assert said(in_firm)[0] == "fit"


def test_a_closed_verdict_waits_for_its_retest(in_firm: Firm, clock: Any) -> None:
    visit = ready(in_firm, values={**GOOD, "free_chlorine_mg_l": "0.4"})
    due = MORNING + timedelta(hours=2)
    sign(in_firm, visit, retest_by="The caretaker", retest_due=due)

    fitness = fitness_of(in_firm.spa, timezone.now())

    assert (fitness.state, fitness.shape, fitness.word, fitness.until) == ("retest", "▲", "Retest", due)
    assert fitness.sentence.startswith(
        "Do not let people in. Closed since 10:00: Free chlorine reads 0.4 mg/L"
    )
    assert fitness.sentence.endswith("Retest due 12:00.")
    clock.move_to(due + timedelta(minutes=1))
    assert fitness_of(in_firm.spa, timezone.now()).sentence.endswith("Retest due 12:00, overdue.")


def test_a_newer_reason_to_close_counts_more_than_the_retest(in_firm: Firm, clock: Any) -> None:
    visit = ready(in_firm, values={**GOOD, "free_chlorine_mg_l": "0.4"})
    sign(in_firm, visit, retest_by="The caretaker", retest_due=MORNING + timedelta(hours=2))
    clock.shift(timedelta(minutes=10))
    close_spa(spa=in_firm.spa, reason="Cable bare", by=in_firm.office)

    assert said(in_firm)[0] == "closed"


def test_fit_from_a_time_is_closed_until_then(in_firm: Firm, clock: Any) -> None:
    visit = signed(in_firm)
    # The signed row is locked; another spa's row stands in for one that was signed "fit from".
    other = planned(in_firm, SpaFactory(site=in_firm.site))
    Visit.objects.filter(pk=other.pk).update(
        state=VisitState.SIGNED,
        verdict=Verdict.FIT_FROM,
        fit_from=MORNING + timedelta(hours=1),
        holds_until=MORNING + timedelta(hours=3),
        tested_at=MORNING,
        ended_at=MORNING,
    )
    spa = fresh(other).spa

    before = fitness_of(spa, timezone.now())
    clock.shift(timedelta(hours=1))
    after = fitness_of(spa, timezone.now())

    assert (before.state, before.shape, before.word) == ("fit_from", "■", "Closed until 11:00")
    assert (
        before.sentence == "Do not let people in. Closed until 11:00, then fit for use; next test due 13:00."
    )
    assert (after.state, after.until) == ("fit", MORNING + timedelta(hours=3))
    assert visit.spa != spa


@pytest.mark.parametrize("spas", [1, 20])
def test_the_fitness_of_many_spas_costs_two_queries(
    in_firm: Firm, spas: int, django_assert_num_queries: Any
) -> None:
    signed(in_firm)
    many = [in_firm.spa, *(SpaFactory(site=in_firm.site) for _ in range(spas))]
    close_spa(spa=many[-1], reason="Cable bare", by=in_firm.office)

    with django_assert_num_queries(2):
        fitness = fitness_of_spas(many, timezone.now())

    assert fitness[in_firm.spa.pk].state == "fit"
    assert fitness[many[-1].pk].state == "closed"


def test_no_spas_have_no_fitness_and_cost_nothing(in_firm: Firm, django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(0):
        assert fitness_of_spas([], timezone.now()) == {}
