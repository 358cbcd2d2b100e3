"""Doing the treatment: in order, with real amounts, and nothing that own judgement may not do."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.visits.decide import decide
from service.visits.editing import AlreadySigned, Changed, Refused
from service.visits.ledger import doses_in_water
from service.visits.models import Decision, Moment, StepState, TaskKind, TreatmentStep, Verdict, Visit
from service.visits.step_words import expected_lines
from service.visits.tasks import take_on_task
from service.visits.treatment import do_step, expected_water, own_dose, skip_step, standing_steps
from service.visits.verdict import standing_verdict
from tests.factories import BatchFactory, ProductFactory
from tests.personas import Firm
from tests.visits.working import (
    GOOD,
    MORNING,
    fresh,
    inspect,
    product,
    read,
    ready,
    sign,
    started,
    with_plan,
)


@pytest.fixture
def visit(in_firm: Firm) -> Visit:
    return read(in_firm, started(in_firm), GOOD)


def do(firm: Firm, step: TreatmentStep, **more: Any) -> TreatmentStep:
    return do_step(step=step, by=firm.technician, expected_revision=None, **more)


def test_a_dose_done_as_planned_keeps_amount_batch_time_and_wait(in_firm: Firm, visit: Visit) -> None:
    bicarbonate = product(in_firm, "Bicarbonate")
    batch = BatchFactory(product=bicarbonate)
    (dose, _) = with_plan(visit, [(bicarbonate, "40", 15)])

    done = do(in_firm, dose, batch=batch)

    assert (done.state, done.actual_mass_g, done.batch) == (StepState.DONE, Decimal(40), batch)
    assert (done.done_at, done.wait_until) == (MORNING, MORNING + timedelta(minutes=15))
    assert AuditEvent.objects.get(action="visit.step_done").detail["actual_mass_g"] == "40.00"


def test_another_amount_needs_a_reason(in_firm: Firm, visit: Visit) -> None:
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])

    with pytest.raises(ValidationError) as wrong:
        do(in_firm, dose, actual_mass_g=Decimal(30))
    assert wrong.value.message_dict == {"reason": ["Say why the amount was changed."]}

    assert do(in_firm, dose, actual_mass_g=Decimal(30), reason="Jar empty").reason == "Jar empty"


def test_a_scoop_that_is_a_little_off_needs_none(in_firm: Firm, visit: Visit) -> None:
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])

    assert do(in_firm, dose, actual_mass_g=Decimal("41.5")).actual_mass_g == Decimal("41.5")


@pytest.mark.parametrize("mass", ["0", "-5", "100001", "NaN"])
def test_an_amount_has_limits(in_firm: Firm, visit: Visit, mass: str) -> None:
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])

    with pytest.raises(ValidationError, match=r"from 0.01 to 100000 g"):
        do(in_firm, dose, actual_mass_g=Decimal(mass), reason="Mistyped")


def test_a_dose_that_is_done_can_be_corrected(in_firm: Firm, visit: Visit) -> None:
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    do(in_firm, dose)

    again = do(in_firm, dose, actual_mass_g=Decimal(20), reason="Mistyped")

    assert (again.actual_mass_g, again.done_at) == (Decimal(20), MORNING)
    details = [event.detail for event in AuditEvent.objects.filter(action="visit.step_done")]
    assert details[0]["was"] == {"state": "done", "actual_mass_g": "40.00"}


def test_steps_are_done_in_their_order_or_skipped_with_a_reason(
    in_firm: Firm, visit: Visit, clock: Any
) -> None:
    first, second, _ = with_plan(
        visit, [(product(in_firm, "Acid salt"), "10", 30), (product(in_firm, "Bicarbonate"), "40", 15)]
    )

    with pytest.raises(Refused, match="Step 1 comes first"):
        do(in_firm, second)
    with pytest.raises(ValidationError, match="Say why the step is skipped"):
        skip_step(step=first, reason=" ", by=in_firm.technician, expected_revision=None)
    skip_step(step=first, reason="None left", by=in_firm.technician, expected_revision=None)

    assert do(in_firm, second).state == StepState.DONE
    with pytest.raises(Refused, match="This step is done"):
        skip_step(step=second, reason="Oops", by=in_firm.technician, expected_revision=None)


def test_chlorine_waits_its_half_hour_after_acid(in_firm: Firm, visit: Visit, clock: Any) -> None:
    # 30 minutes between an acid and a chlorine product: common practice, no source.
    acid, chlorine, _ = with_plan(
        visit, [(product(in_firm, "Acid salt"), "10", 30), (product(in_firm, "Liquid chlorine"), "20", 30)]
    )
    do(in_firm, acid)
    clock.shift(timedelta(minutes=29))

    with pytest.raises(Refused, match=r"Acid salt went in at 10:00: acid and chlorine .* Wait until 10:30"):
        do(in_firm, chlorine)

    clock.shift(timedelta(minutes=1))
    assert do(in_firm, chlorine).state == StepState.DONE


def test_a_dose_above_the_cap_is_refused_with_whose_cap_it_is(in_firm: Firm, visit: Visit) -> None:
    # Largest single dose of bicarbonate 85 g/m3 (house rule): 106 g in 1250 L.
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])

    with pytest.raises(
        Refused, match=r"107 g is above the largest single dose for this volume, 106 g \(house"
    ):
        do(in_firm, dose, actual_mass_g=Decimal(107), reason="More")


def test_an_amount_that_moves_ph_too_far_is_refused_by_the_engine(in_firm: Firm, visit: Visit) -> None:
    # One dose moves pH by at most 0.4 (house rule); below the cap by mass, but this water hardly resists.
    visit = read(in_firm, visit, {"total_alkalinity_mg_l": "50"})
    (dose, _) = with_plan(visit, [(product(in_firm, "Acid salt"), "5", 30)])

    with pytest.raises(Refused, match=r"It moves pH by 0\.\d+, more than the 0\.4 one dose may"):
        do(in_firm, dose, actual_mass_g=Decimal(24), reason="More")


def test_nothing_is_dosed_that_rests_on_a_reading_nobody_took(in_firm: Firm) -> None:
    visit = read(in_firm, started(in_firm), {"ph": "7.4", "temperature_c": "38"})
    with_plan(visit, [])

    with pytest.raises(Refused, match="is not dosed without a reading of it: test it first"):
        own_dose(
            visit=visit,
            product=product(in_firm, "Bicarbonate"),
            mass_g=Decimal(5),
            reason="Low",
            by=in_firm.technician,
            expected_revision=None,
        )


def test_the_label_is_a_cap_too(in_firm: Firm, visit: Visit) -> None:
    labelled = product(in_firm, "Bicarbonate", label_max_g_per_m3=Decimal(20))
    (dose, _) = with_plan(visit, [(labelled, "20", 15)])

    with pytest.raises(Refused, match=r"25 g \(product label\)"):
        do(in_firm, dose, actual_mass_g=Decimal(26), reason="More")


def test_what_the_maker_forbids_does_not_go_in(in_firm: Firm, visit: Visit) -> None:
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    in_firm.spa.forbidden_substances = ["sodium_bicarbonate"]
    in_firm.spa.warranty_note = "Maker's care sheet 4"
    in_firm.spa.save()

    with pytest.raises(Refused, match=r"its maker forbids it\. Maker's care sheet 4"):
        do(in_firm, dose)


def test_a_hold_stops_every_dose_and_says_whom_to_call(in_firm: Firm, visit: Visit) -> None:
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    inspect(in_firm, visit, nobody_ill="Two guests")

    with pytest.raises(Refused, match=r"Somebody fell ill after bathing.*Call the local health agency"):
        do(in_firm, dose)


def test_nothing_is_added_while_something_is_broken_that_closes_the_spa(in_firm: Firm, visit: Visit) -> None:
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    inspect(in_firm, visit, suction_cover="Left one loose")

    with pytest.raises(Refused, match="Nothing is added while this is answered No: Are all suction"):
        do(in_firm, dose)


def test_a_dose_behind_a_retest_is_worked_out_again_first(in_firm: Firm, visit: Visit) -> None:
    (retest,) = with_plan(visit, [])
    behind = TreatmentStep.objects.create(
        organisation=in_firm.organisation,
        visit=visit,
        decision=retest.decision,
        order=retest.order + 1,
        action="add",
        planned={"round": 2},
        product=product(in_firm, "Bicarbonate"),
        planned_mass_g=Decimal(40),
    )
    skip_step(step=retest, reason="In a hurry", by=in_firm.technician, expected_revision=None)

    with pytest.raises(Refused, match="This dose is provisional"):
        do(in_firm, behind)


def test_a_breakpoint_dose_is_never_more_than_the_decision_said(in_firm: Firm, visit: Visit) -> None:
    # A breakpoint dose may be above the usual cap (83 g here); the engine marks it by naming no largest dose.
    (dose, _) = with_plan(visit, [(product(in_firm, "Liquid chlorine"), "150", 30)])

    with pytest.raises(Refused, match=r"160 g is above what the decision allows, 150 g"):
        do(in_firm, dose, actual_mass_g=Decimal(160), reason="More")
    assert do(in_firm, dose).actual_mass_g == Decimal(150)


def test_two_own_doses_without_a_test_between_count_as_one(in_firm: Firm, visit: Visit) -> None:
    with_plan(visit, [])
    bicarbonate = product(in_firm, "Bicarbonate")

    def add(grams: int) -> TreatmentStep:
        return own_dose(
            visit=visit,
            product=bicarbonate,
            mass_g=Decimal(grams),
            reason="Low",
            by=in_firm.technician,
            expected_revision=None,
        )

    add(60)
    with pytest.raises(Refused, match="50 g of Bicarbonate, with 60 g given already, is above"):
        add(50)
    assert add(40).actual_mass_g == Decimal(40)


def test_tablets_for_the_feeder_are_logged_and_change_nothing_today(in_firm: Firm) -> None:
    in_firm.spa.sanitiser = "bromine"
    in_firm.spa.save()
    water = {"total_bromine_mg_l": "5", "ph": "7.4", "temperature_c": "38"}
    visit = read(in_firm, inspect(in_firm, started(in_firm)), water)
    with_plan(visit, [], verdict="fit_now")
    tablets = ProductFactory(
        organisation=in_firm.organisation, substance="bcdmh", form="tablet", unit_mass_g=Decimal(20)
    )

    step = own_dose(
        visit=visit,
        product=tablets,
        mass_g=Decimal(60),
        reason="Three tablets",
        by=in_firm.technician,
        expected_revision=None,
    )

    assert step.action == "load_feeder"
    assert standing_verdict(fresh(visit), timezone.now()).verdict == Verdict.FIT_NOW
    logged = doses_in_water(in_firm.spa, filled=None, until=timezone.now())
    assert [(dose.substance, dose.form) for dose in logged] == [("bcdmh", "tablet")]


def test_water_about_to_be_drained_is_not_dosed(in_firm: Firm, visit: Visit) -> None:
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    take_on_task(visit=visit, kind=TaskKind.DRAIN_REFILL, by=in_firm.technician, expected_revision=None)

    with pytest.raises(Refused, match="being drained"):
        do(in_firm, dose)


def test_a_batch_belongs_to_its_product_and_a_time_to_the_visit(in_firm: Firm, visit: Visit) -> None:
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])

    with pytest.raises(ValidationError, match="not a batch of Bicarbonate"):
        do(in_firm, dose, batch=BatchFactory(product=product(in_firm, "Acid salt")))
    with pytest.raises(ValidationError, match="cannot lie in the future"):
        do(in_firm, dose, done_at=timezone.now() + timedelta(hours=1))
    with pytest.raises(ValidationError, match="before the visit began"):
        do(in_firm, dose, done_at=timezone.now() - timedelta(hours=1))


def test_an_own_dose_needs_a_decision_and_a_reason_and_is_kept_as_own(in_firm: Firm, visit: Visit) -> None:
    bicarbonate = product(in_firm, "Bicarbonate")
    own: dict[str, Any] = {
        "visit": visit,
        "product": bicarbonate,
        "mass_g": Decimal(20),
        "by": in_firm.technician,
        "expected_revision": None,
    }
    with pytest.raises(Refused, match="ask for a decision before"):
        own_dose(reason="Feels low", **own)
    with_plan(visit, [])
    with pytest.raises(ValidationError, match="Say why this is added"):
        own_dose(reason="", **own)

    step = own_dose(reason="Feels low", **own)

    assert (step.planned_mass_g, step.actual_mass_g, step.state) == (None, Decimal(20), StepState.DONE)
    assert standing_steps(fresh(visit))[-1] == step


def test_an_own_dose_that_must_not_meet_the_plan_is_refused(in_firm: Firm, visit: Visit) -> None:
    # Hypochlorites and cyanurates never together: Bland Shire Council, NSW (chemistry/treatment/pairs).
    with_plan(visit, [(product(in_firm, "Liquid chlorine"), "20", 30)])

    with pytest.raises(Refused, match="does not go with Liquid chlorine: hypochlorites and cyanurate-based"):
        own_dose(
            visit=visit,
            product=product(in_firm, "Stabilised chlorine"),
            mass_g=Decimal(5),
            reason="Faster",
            by=in_firm.technician,
            expected_revision=None,
        )


def test_a_bromine_product_does_not_go_into_a_chlorine_spa(in_firm: Firm, visit: Visit) -> None:
    bromide = product(in_firm, "Bicarbonate")
    bromide.substance = "sodium_bromide"
    bromide.save()
    with_plan(visit, [])

    with pytest.raises(Refused, match="bromine product and this spa runs on chlorine"):
        own_dose(
            visit=visit,
            product=bromide,
            mass_g=Decimal(5),
            reason="Try",
            by=in_firm.technician,
            expected_revision=None,
        )


def test_the_expected_water_follows_what_was_really_added(in_firm: Firm, visit: Visit) -> None:
    # 84.007 g/mol, one equivalent: 20 g x 0.99 in 1250 L raises alkalinity by 9.44 mg/L as CaCO3.
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    assert expected_water(fresh(visit)) is None

    do(in_firm, dose, actual_mass_g=Decimal(20), reason="Jar empty")

    water = expected_water(fresh(visit))
    assert water is not None
    assert water["total_alkalinity_mg_l"] == pytest.approx(109.44, abs=0.02)


def test_steps_of_an_older_decision_are_history(in_firm: Firm, visit: Visit, clock: Any) -> None:
    (old, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    clock.shift(timedelta(minutes=1))
    with_plan(visit, [])

    with pytest.raises(Refused, match="There is a newer decision"):
        do(in_firm, old)


def test_deciding_again_drops_what_was_not_done_and_keeps_what_was(
    in_firm: Firm, visit: Visit, clock: Any
) -> None:
    visit = inspect(in_firm, visit)
    first, _, _ = with_plan(
        visit, [(product(in_firm, "Bicarbonate"), "40", 15), (product(in_firm, "Acid salt"), "5", 30)]
    )
    do(in_firm, first)
    clock.shift(timedelta(minutes=20))
    read(in_firm, visit, {"ph": "7.5", "free_chlorine_mg_l": "4"}, Moment.AFTER)

    decide(visit=visit, moment=Moment.AFTER, by=in_firm.technician)

    kept = [
        step for step in TreatmentStep.objects.filter(visit=visit) if step.decision_id == first.decision_id
    ]
    assert kept == [first]


def test_a_step_is_refused_to_strangers_to_the_second_and_once_signed(
    in_firm: Firm, stranger: Firm, visit: Visit, clock: Any
) -> None:
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    for person in (stranger.technician, in_firm.rental_manager, in_firm.auditor):
        with pytest.raises(NotAllowed):
            do_step(step=dose, by=person, expected_revision=None)
        with pytest.raises(NotAllowed):
            skip_step(step=dose, reason="No", by=person, expected_revision=None)
    with pytest.raises(Changed):
        do_step(step=dose, by=in_firm.technician, expected_revision=fresh(visit).revision - 1)
    sign(
        in_firm,
        visit,
        closed=True,
        retest_by="Us",
        retest_due=MORNING + timedelta(hours=4),
    )
    with pytest.raises(AlreadySigned):
        do(in_firm, dose)


def test_nothing_is_decided_on_readings_from_before_a_dose(in_firm: Firm, visit: Visit) -> None:
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    do(in_firm, dose)

    with pytest.raises(Refused, match="Something was added since these readings"):
        decide(visit=visit, moment=Moment.BEFORE, by=in_firm.technician)
    with pytest.raises(Refused, match="Nothing was read since the last dose"):
        decide(visit=visit, moment=Moment.AFTER, by=in_firm.technician)


def test_a_decision_on_a_ready_visit_leaves_nothing_to_do(in_firm: Firm) -> None:
    visit = ready(in_firm)

    assert [step for step in standing_steps(visit) if step.action == "add"] == []


def test_an_index_a_hair_under_nought_is_shown_without_a_sign() -> None:
    water = {"request": {"readings": {}}, "response": {"expected": {"saturation_index": -0.04}}}

    (line,) = expected_lines(Decision(**water), None)

    assert line.after == "0.0"
