"""Whole days through the use cases, with the real engine: what is read after a dose is what the
chemistry says the water became by the doses really given."""

from collections.abc import Mapping
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from service.chemistry.predict import predict
from service.sites.models import Sanitiser
from service.visits.closures import open_closure
from service.visits.decide import decide, standing_decision
from service.visits.fitness import fitness_of
from service.visits.fresh_fill import lines_for
from service.visits.models import Moment, StepState, TaskKind, TreatmentStep, Verdict, Visit
from service.visits.tasks import do_task, take_on_task, tick_line
from service.visits.treatment import do_step, expected_water, skip_step
from service.visits.verdict import standing_verdict
from tests.factories import ProductFactory
from tests.personas import Firm
from tests.visits.working import GOOD, decided, fresh, inspect, product, read, sign, started

ROUNDS = 6
DIGITS = {"ph": 2, "temperature_c": 1}


def chlorine_van(firm: Firm) -> None:
    for name in ("Bicarbonate", "Acid salt", "Liquid chlorine"):
        product(firm, name, density_g_ml=Decimal("1.1"))
    ProductFactory(organisation=firm.organisation, name="Soda", substance="sodium_carbonate")
    # A bromine product in the same van must not stand in the way of a chlorine tub.
    ProductFactory(organisation=firm.organisation, name="Bromide", substance="sodium_bromide")


def water_now(spa_litres: int, at_first: Mapping[str, str], doses: list[TreatmentStep]) -> dict[str, str]:
    """What a perfect test would read after these doses."""
    steps = [
        {
            "add": dose.product.substance,
            "mass_g": float(dose.actual_mass_g or 0),
            "active_fraction": float(dose.product.active_fraction),
        }
        for dose in doses
        if dose.product is not None
    ]
    start = {name: float(value) for name, value in at_first.items()}
    after = predict({"volume_l": spa_litres, "readings": start, "steps": steps})["after"]
    return {name: f"{after[name]:.{DIGITS.get(name, 1)}f}" for name in at_first}


def do_what_is_planned(firm: Firm, visit: Visit, clock: Any) -> list[TreatmentStep]:
    """Give every dose of the standing decision that belongs to today, waits kept; all doses so far."""
    decision = standing_decision(fresh(visit))
    assert decision is not None
    for step in decision.steps.order_by("order"):
        if step.action == "retest":
            break
        if step.planned.get("when") == "later":
            skip_step(step=step, reason="Next time", by=firm.technician, expected_revision=None)
            continue
        done = do_step(step=step, by=firm.technician, expected_revision=None)
        if done.wait_until:
            clock.move_to(max(done.wait_until, timezone.now()))
    clock.shift(timedelta(minutes=1))
    return list(TreatmentStep.objects.filter(visit=visit, state=StepState.DONE, action="add"))


def test_a_tub_found_low_is_treated_retested_and_signed_fit(in_firm: Firm, clock: Any) -> None:
    chlorine_van(in_firm)
    at_first = {**GOOD, "free_chlorine_mg_l": "0.8", "ph": "7.9", "total_alkalinity_mg_l": "70"}
    visit = decided(in_firm, read(in_firm, inspect(in_firm, started(in_firm)), at_first))
    assert standing_verdict(visit, timezone.now()).verdict == Verdict.CLOSED_UNTIL_RETEST
    assert fitness_of(in_firm.spa, timezone.now()).state == "closed"

    for _ in range(ROUNDS):
        doses = do_what_is_planned(in_firm, visit, clock)
        visit = read(in_firm, visit, water_now(in_firm.spa.volume_l, at_first, doses), Moment.AFTER)
        visit = decided(in_firm, visit, Moment.AFTER)
        standing = standing_verdict(visit, timezone.now())
        if standing.is_fit:
            break
    clock.shift(timedelta(hours=1))
    standing = standing_verdict(fresh(visit), timezone.now())
    assert standing.verdict == Verdict.FIT_NOW, (standing.why, standing.needs)

    record = sign(in_firm, visit)

    assert fitness_of(in_firm.spa, timezone.now()).state == "fit"
    assert [step["state"] for step in record.content["steps"] if step["action"] == "add"]
    assert open_closure(in_firm.spa) is None


def test_what_is_expected_after_the_planned_doses_is_what_the_plan_said(in_firm: Firm, clock: Any) -> None:
    chlorine_van(in_firm)
    at_first = {**GOOD, "free_chlorine_mg_l": "2.0"}
    visit = decided(in_firm, read(in_firm, inspect(in_firm, started(in_firm)), at_first))

    do_what_is_planned(in_firm, visit, clock)

    water = expected_water(fresh(visit))
    assert water is not None
    assert 3.0 <= water["free_chlorine_mg_l"] <= 10.0
    assert 7.2 <= water["ph"] <= 7.8


@pytest.mark.parametrize(
    ("parameter", "value"), [("temperature_c", "48"), ("ph", "4"), ("total_alkalinity_mg_l", "5000")]
)
def test_water_that_cannot_be_worked_with_is_a_decision_that_closes_and_says_why(
    in_firm: Firm, parameter: str, value: str
) -> None:
    chlorine_van(in_firm)
    visit = inspect(in_firm, started(in_firm))
    visit = read(in_firm, visit, {**GOOD, parameter: value})

    decision = decide(visit=visit, moment=Moment.BEFORE, by=in_firm.technician)

    assert decision.response["verdict"] == Verdict.CLOSED_UNTIL_RETEST
    assert [step for step in decision.response["treatment"] if step["action"] == "add"] == []
    standing = standing_verdict(fresh(visit), timezone.now())
    assert standing.verdict == Verdict.CLOSED_UNTIL_RETEST
    assert standing.needs == []
    assert standing.why
    sign(in_firm, visit, retest_by="Us", retest_due=timezone.now() + timedelta(hours=2))
    closure = open_closure(in_firm.spa)
    assert closure is not None
    assert closure.reason == " ".join(standing.why)[:600]


def test_under_a_hold_nothing_is_planned(in_firm: Firm) -> None:
    chlorine_van(in_firm)
    visit = inspect(in_firm, started(in_firm), nobody_ill="Two guests")
    visit = read(in_firm, visit, {**GOOD, "free_chlorine_mg_l": "0.5"})

    decision = decide(visit=visit, moment=Moment.BEFORE, by=in_firm.technician)

    assert decision.response["verdict"] == Verdict.CLOSED_UNTIL_RETEST
    assert not decision.steps.filter(action__in=("add", "replace_water")).exists()


def test_nothing_measured_is_closed_not_an_error(in_firm: Firm) -> None:
    visit = inspect(in_firm, started(in_firm))

    decision = decide(visit=visit, moment=Moment.BEFORE, by=in_firm.technician)

    assert decision.response["verdict"] == Verdict.CLOSED_UNTIL_RETEST
    assert any("pH" in item["reason"] for item in decision.response["unmet"])


def test_a_guideline_that_does_not_fit_the_spa_closes_and_says_so(in_firm: Firm) -> None:
    in_firm.spa.guideline_id = "maine_10_144_202"
    in_firm.spa.save()
    visit = decided(in_firm, read(in_firm, inspect(in_firm, started(in_firm)), GOOD))

    standing = standing_verdict(visit, timezone.now())

    assert standing.verdict == Verdict.CLOSED_UNTIL_RETEST
    assert any("chlorine" in sentence for sentence in standing.why)


def test_a_bromine_tub_is_drained_filled_and_brought_up_from_nothing(in_firm: Firm, clock: Any) -> None:
    for substance in ("sodium_bromide", "potassium_monopersulfate", "sodium_bicarbonate", "sodium_bisulfate"):
        ProductFactory(organisation=in_firm.organisation, name=substance, substance=substance)
    in_firm.spa.sanitiser = Sanitiser.BROMINE
    in_firm.spa.save()
    in_firm.site.supply_water = {
        "ph": 7.6,
        "total_alkalinity_mg_l": 90,
        "calcium_hardness_mg_l": 180,
        "total_dissolved_solids_mg_l": 300,
    }
    in_firm.site.save()
    old = {"total_bromine_mg_l": "1.0", "ph": "7.1", "temperature_c": "37", "total_alkalinity_mg_l": "40"}
    visit = read(in_firm, inspect(in_firm, started(in_firm)), old)
    take_on_task(visit=visit, kind=TaskKind.DRAIN_REFILL, by=in_firm.technician, expected_revision=None)
    decision = decide(visit=visit, moment=Moment.BEFORE, by=in_firm.technician)
    assert not decision.steps.filter(action="add").exists()

    for line in lines_for(in_firm.spa)[:8]:
        tick_line(visit=visit, key=line.key, by=in_firm.technician, expected_revision=None)
        clock.shift(timedelta(minutes=15))
    new = {
        "total_bromine_mg_l": "0",
        "ph": "7.6",
        "temperature_c": "14",
        "total_alkalinity_mg_l": "90",
        "calcium_hardness_mg_l": "180",
        "total_dissolved_solids_mg_l": "300",
    }
    visit = decided(in_firm, read(in_firm, visit, new, Moment.AFTER), Moment.AFTER)

    planned = {step.product.substance for step in standing_decision(visit).steps.exclude(product=None)}
    assert {"sodium_bromide", "potassium_monopersulfate"} <= planned
    for line in lines_for(in_firm.spa)[8:]:
        tick_line(visit=visit, key=line.key, by=in_firm.technician, expected_revision=None)
    do_task(visit=visit, kind=TaskKind.DRAIN_REFILL, by=in_firm.technician, expected_revision=None)
    assert standing_verdict(fresh(visit), timezone.now()).verdict == Verdict.CLOSED_UNTIL_RETEST
