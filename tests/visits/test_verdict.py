"""The three verdicts, what they need, and that nobody overrides them."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from service.visits.inspection import answer_inspection
from service.visits.models import Moment, Verdict, Visit
from service.visits.readings import ReadingInput, record_readings
from service.visits.tasks import tick_line
from service.visits.treatment import do_step, own_dose, skip_step
from service.visits.verdict import VerdictAtSign, standing_verdict
from service.visits.whole import gathered
from tests.factories import InstrumentFactory
from tests.personas import Firm
from tests.visits.working import (
    GOOD,
    MORNING,
    decided,
    fresh,
    inspect,
    planned,
    product,
    read,
    ready,
    started,
    with_plan,
)


def verdict(visit: Visit) -> VerdictAtSign:
    return standing_verdict(fresh(visit), timezone.now())


def dosed(firm: Firm, *, grams: str | None = None, label_wait: int | None = None) -> Visit:
    """Good water, a small dose planned and given; 60 minutes closed after dosing by hand (25-C6416)."""
    visit = read(firm, inspect(firm, started(firm)), GOOD)
    (dose, _) = with_plan(visit, [(product(firm, "Bicarbonate", label_wait_minutes=label_wait), "40", 15)])
    do_step(
        step=dose,
        by=firm.technician,
        expected_revision=None,
        actual_mass_g=Decimal(grams) if grams else None,
        reason="Own judgement" if grams else "",
    )
    return visit


def test_good_water_and_nothing_to_add_is_fit_now(in_firm: Firm) -> None:
    standing = verdict(ready(in_firm))

    assert (standing.verdict, standing.needs, standing.blocks) == (Verdict.FIT_NOW, [], [])
    assert (standing.tested_at, standing.holds_until) == (MORNING, MORNING + timedelta(hours=3))
    assert (
        standing.why[0] == "Tested at 10:00: everything that closes the spa is inside, and nothing was added."
    )
    assert "412.1(k)-(n)" in standing.why[1]


def test_what_was_not_done_yet_is_named(in_firm: Firm) -> None:
    visit = started(in_firm)
    needs = verdict(visit).needs
    assert needs[0] == "Look: Is the water clear, so that the bottom can be seen?"
    assert needs[-1] == "Test free chlorine and pH."

    visit = read(in_firm, inspect(in_firm, visit), GOOD)
    assert verdict(visit).needs == ["Ask for the decision."]

    visit = decided(in_firm, visit)
    assert verdict(visit).needs == []


def test_a_reading_changed_after_the_decision_asks_for_another(in_firm: Firm) -> None:
    visit = read(in_firm, ready(in_firm), {"ph": "7.5"})

    standing = verdict(visit)

    assert standing.needs == ["Ask for the decision again: something changed since the last one."]
    assert standing.verdict == Verdict.CLOSED_UNTIL_RETEST


@pytest.mark.parametrize(
    ("parameter", "value", "said"),
    [
        # 25-C DCMR 404.2(b)(2) and 715.1(h): free chlorine 3 to 10, outside closes.
        ("free_chlorine_mg_l", "2.9", "below 3"),
        ("free_chlorine_mg_l", "10.1", "above 10"),
        # 404.2(a): pH 7.2 to 7.8; closing at 6.5 and 8.0, but outside min to max is never fit either.
        ("ph", "7.9", "above 7.8"),
        # The house floor, no source: above 40 °C.
        ("temperature_c", "48", "above 40"),
    ],
)
def test_water_outside_its_limits_is_closed_and_says_which(
    in_firm: Firm, parameter: str, value: str, said: str
) -> None:
    standing = verdict(ready(in_firm, values={**GOOD, parameter: value}))

    assert standing.verdict == Verdict.CLOSED_UNTIL_RETEST
    assert any(said in sentence for sentence in standing.why)
    assert (standing.fit_from, standing.holds_until) == (None, None)


def test_the_limit_itself_is_allowed(in_firm: Firm) -> None:
    # 25-C DCMR 404.2: inclusive at both ends.
    at_the_ends = {**GOOD, "free_chlorine_mg_l": "3.0", "ph": "7.8"}

    assert verdict(ready(in_firm, values=at_the_ends)).verdict == Verdict.FIT_NOW


@pytest.mark.parametrize(
    "item", ["clarity", "suction_cover", "electrics", "nobody_ill", "contamination_treated"]
)
def test_a_no_that_closes_keeps_good_water_closed(in_firm: Firm, item: str) -> None:
    visit = read(in_firm, inspect(in_firm, started(in_firm), **{item: "Bad"}), GOOD)

    assert verdict(decided(in_firm, visit)).verdict == Verdict.CLOSED_UNTIL_RETEST


def test_an_open_danger_keeps_it_closed_until_somebody_says_yes(in_firm: Firm, clock: Any) -> None:
    inspect(in_firm, started(in_firm), suction_cover="Left one loose")
    Visit.objects.update(state="missed", end_reason="Laid out by a test")
    clock.shift(timedelta(hours=1))
    visit = read(in_firm, started(in_firm), GOOD)

    assert any("Open defect: Left one loose" in sentence for sentence in verdict(visit).why)

    assert verdict(decided(in_firm, inspect(in_firm, visit))).verdict == Verdict.FIT_NOW


def test_after_a_planned_dose_it_is_fit_from_the_end_of_the_real_wait(in_firm: Firm, clock: Any) -> None:
    visit = dosed(in_firm)
    clock.shift(timedelta(minutes=5))

    standing = verdict(visit)

    assert (standing.verdict, standing.fit_from) == (Verdict.FIT_FROM, MORNING + timedelta(minutes=60))
    assert "before dosing" in standing.why[0]
    assert standing.why[1].startswith("Nobody enters before 11:00: 60 minutes after Bicarbonate")
    assert "25-C6416" in standing.why[1]


def test_the_label_wins_when_it_asks_for_longer(in_firm: Firm) -> None:
    standing = verdict(dosed(in_firm, label_wait=90))

    assert standing.fit_from == MORNING + timedelta(minutes=90)
    assert "(product label)" in standing.why[1]


def test_a_dose_late_in_the_day_moves_the_time_with_it(in_firm: Firm, clock: Any) -> None:
    visit = read(in_firm, inspect(in_firm, started(in_firm)), GOOD)
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    clock.shift(timedelta(minutes=25))
    do_step(step=dose, by=in_firm.technician, expected_revision=None)

    assert verdict(visit).fit_from == MORNING + timedelta(minutes=85)


@pytest.mark.parametrize("grams", ["60", "20"])
def test_an_amount_of_ones_own_has_to_be_tested(in_firm: Firm, grams: str) -> None:
    standing = verdict(dosed(in_firm, grams=grams))

    assert standing.verdict == Verdict.CLOSED_UNTIL_RETEST
    assert standing.why == [
        "Nothing was read since 10:00. The amount of step 1 was changed, so the water has to be tested."
    ]


def test_a_skipped_dose_beside_a_given_one_has_to_be_tested(in_firm: Firm, clock: Any) -> None:
    visit = read(in_firm, inspect(in_firm, started(in_firm)), GOOD)
    first, second, _ = with_plan(
        visit, [(product(in_firm, "Bicarbonate"), "40", 15), (product(in_firm, "Acid salt"), "5", 30)]
    )
    do_step(step=first, by=in_firm.technician, expected_revision=None)
    skip_step(step=second, reason="None left", by=in_firm.technician, expected_revision=None)

    assert "Step 2 was skipped" in verdict(visit).why[0]


def test_skipping_everything_leaves_the_reading_to_speak(in_firm: Firm) -> None:
    visit = read(in_firm, inspect(in_firm, started(in_firm)), GOOD)
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    assert verdict(visit).needs == ["Step 1 is neither done nor skipped."]

    skip_step(step=dose, reason="Not today", by=in_firm.technician, expected_revision=None)

    assert verdict(visit).verdict == Verdict.FIT_NOW


def test_an_own_dose_has_to_be_tested(in_firm: Firm) -> None:
    visit = read(in_firm, inspect(in_firm, started(in_firm)), GOOD)
    with_plan(visit, [], verdict="fit_now")
    own_dose(
        visit=visit,
        product=product(in_firm, "Bicarbonate"),
        mass_g=Decimal(10),
        reason="Feels low",
        by=in_firm.technician,
        expected_revision=None,
    )

    assert "A dose of one's own was added" in verdict(visit).why[0]


def test_what_the_engine_wants_retested_is_not_fit_from_a_time(in_firm: Firm) -> None:
    visit = read(in_firm, inspect(in_firm, started(in_firm)), GOOD)
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)], verdict="closed_until_retest")
    do_step(step=dose, by=in_firm.technician, expected_revision=None)

    standing = verdict(visit)

    assert standing.verdict == Verdict.CLOSED_UNTIL_RETEST
    assert standing.why


def test_measured_after_dosing_and_waited_it_is_fit_now(in_firm: Firm, clock: Any) -> None:
    visit = dosed(in_firm)
    clock.shift(timedelta(minutes=61))
    visit = read(in_firm, visit, {"ph": "7.5", "free_chlorine_mg_l": "3.8"}, Moment.AFTER)
    visit = decided(in_firm, visit, Moment.AFTER)

    standing = verdict(visit)

    assert (standing.verdict, standing.fit_from) == (Verdict.FIT_NOW, None)
    assert standing.tested_at == MORNING + timedelta(minutes=61)
    assert standing.why[0].startswith("Tested at 11:01, after the last dose")


def test_measured_while_the_wait_still_runs_it_is_fit_from_its_end(in_firm: Firm, clock: Any) -> None:
    visit = dosed(in_firm)
    clock.shift(timedelta(minutes=35))
    visit = read(in_firm, visit, {"ph": "7.5", "free_chlorine_mg_l": "3.8"}, Moment.AFTER)

    standing = verdict(decided(in_firm, visit, Moment.AFTER))

    assert (standing.verdict, standing.fit_from) == (Verdict.FIT_FROM, MORNING + timedelta(minutes=60))


def test_a_test_made_before_the_dose_had_mixed_does_not_count(in_firm: Firm, clock: Any) -> None:
    visit = dosed(in_firm)
    clock.shift(timedelta(minutes=10))
    visit = read(in_firm, visit, {"ph": "7.5", "free_chlorine_mg_l": "3.8"}, Moment.AFTER)

    standing = verdict(decided(in_firm, visit, Moment.AFTER))

    assert standing.needs == ["Test again after 10:15: the last dose had not had its time to mix."]


def test_one_bad_reading_after_dosing_is_not_hidden_by_the_good_one_before(in_firm: Firm, clock: Any) -> None:
    visit = dosed(in_firm)
    clock.shift(timedelta(minutes=20))
    visit = read(in_firm, visit, {"ph": "8.4"}, Moment.AFTER)

    standing = verdict(visit)

    assert standing.verdict == Verdict.CLOSED_UNTIL_RETEST
    assert standing.needs == ["Test free chlorine again: something was added at 10:00."]
    assert any("pH reads 8.4" in sentence for sentence in standing.why)


def test_new_water_is_fit_only_by_its_own_test(in_firm: Firm, clock: Any) -> None:
    visit = ready(in_firm)
    for key in ("breaker_off", "old_water_tested", "lines_purged", "discharged", "cleaned", "filled"):
        tick_line(visit=visit, key=key, by=in_firm.technician, expected_revision=None)

    assert verdict(visit).needs == ["Test free chlorine and pH again: something was added at 10:00."]

    clock.shift(timedelta(hours=1))
    visit = read(in_firm, visit, GOOD, Moment.AFTER)
    assert verdict(decided(in_firm, visit, Moment.AFTER)).verdict == Verdict.FIT_NOW


def test_other_readings_stand_while_nothing_moved_them(in_firm: Firm, clock: Any) -> None:
    # Bicarbonate moves pH, sanitiser by dilution at most, and alkalinity; it leaves temperature alone.
    visit = dosed(in_firm)
    clock.shift(timedelta(minutes=61))
    visit = read(in_firm, visit, {"ph": "7.5", "free_chlorine_mg_l": "3.8"}, Moment.AFTER)
    visit = decided(in_firm, visit, Moment.AFTER)

    sent = visit.decisions.first().request["readings"]

    assert {"temperature_c", "calcium_hardness_mg_l"} <= sent.keys()
    assert "total_alkalinity_mg_l" not in sent


def test_an_overdue_instrument_is_said_beside_the_verdict(in_firm: Firm) -> None:
    meter = InstrumentFactory(
        organisation=in_firm.organisation, name="Photometer 3", check_due_on=date(2026, 6, 2)
    )
    visit = inspect(in_firm, started(in_firm))
    readings = [ReadingInput(name, value, instrument=meter) for name, value in GOOD.items()]
    record_readings(
        visit=visit, moment=Moment.BEFORE, readings=readings, by=in_firm.technician, expected_revision=None
    )

    assert any("Photometer 3: its check was due" in text for text in verdict(decided(in_firm, visit)).why)


def test_what_the_same_clause_wants_tested_and_was_not_is_said(in_firm: Firm) -> None:
    # Victoria r.48: free and total chlorine and pH, every four hours.
    in_firm.spa.guideline_id = "victoria_phw_2019"
    in_firm.spa.save()

    standing = verdict(ready(in_firm))

    assert standing.holds_until == MORNING + timedelta(hours=4)
    assert standing.why[-1].startswith("Not tested: total chlorine (")
    assert "r.48" in standing.why[-1]


def test_what_was_not_looked_at_is_said(in_firm: Firm) -> None:
    visit = inspect(in_firm, started(in_firm))
    answer_inspection(
        visit=visit, answers={"electrics": ("not_looked", "")}, by=in_firm.technician, expected_revision=None
    )
    standing = verdict(decided(in_firm, read(in_firm, visit, GOOD)))

    assert standing.verdict == Verdict.FIT_NOW
    assert standing.why[-1] == "Not looked at: Are breaker, cable and cabinet dry and in order?"


def test_a_test_of_yesterday_is_no_verdict_for_today(in_firm: Firm, clock: Any) -> None:
    visit = ready(in_firm)
    clock.shift(timedelta(days=1))

    assert verdict(visit).verdict == Verdict.CLOSED_UNTIL_RETEST


def test_a_visit_that_has_not_started_cannot_be_signed(in_firm: Firm) -> None:
    assert verdict(planned(in_firm)).blocks == ["Start the visit first."]


def test_a_sanitiser_no_set_judges_is_never_called_fit(in_firm: Firm) -> None:
    in_firm.spa.sanitiser = "other"
    in_firm.spa.save()

    standing = verdict(decided(in_firm, read(in_firm, inspect(in_firm, started(in_firm)), GOOD)))

    assert standing.verdict == Verdict.CLOSED_UNTIL_RETEST
    assert any("No guideline set judges this sanitiser" in text for text in standing.why)


def test_the_verdict_of_a_loaded_visit_costs_two_queries(
    in_firm: Firm, django_assert_num_queries: Any
) -> None:
    visit = gathered(fresh(ready(in_firm)))

    with django_assert_num_queries(2):
        standing_verdict(visit, timezone.now())
