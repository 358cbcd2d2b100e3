"""The log of what was really added, as the next decision is told of it."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from service.sites.models import Sanitiser
from service.visits.decide import treatment_request
from service.visits.ledger import PastDose, bromide_mg_l, doses_in_water, last_filled
from service.visits.models import (
    Moment,
    StepState,
    Task,
    TaskKind,
    TaskState,
    TreatmentStep,
    Visit,
    VisitState,
)
from service.visits.tasks import tick_line
from service.visits.treatment import do_step, skip_step
from tests.factories import ProductFactory
from tests.personas import Firm
from tests.visits.working import GOOD, MORNING, fresh, planned, product, read, started, with_plan


def end(visit: Visit) -> None:
    Visit.objects.filter(pk=visit.pk).update(state=VisitState.NO_ACCESS, end_reason="Laid out by a test")


def filled_before(firm: Firm, ago: timedelta) -> None:
    visit = planned(firm)
    Task.objects.create(
        organisation=firm.organisation,
        visit=visit,
        kind=TaskKind.DRAIN_REFILL,
        state=TaskState.DONE,
        done_at=timezone.now() - ago,
    )
    end(visit)


def dosed(firm: Firm, substance: str, grams: str, strength: str = "1", **more: Any) -> TreatmentStep:
    """A dose of a visit that ended meanwhile."""
    visit = read(firm, started(firm), GOOD)
    chosen = ProductFactory(
        organisation=firm.organisation, substance=substance, active_fraction=Decimal(strength), **more
    )
    (step, _) = with_plan(visit, [(chosen, grams, 15)])
    done = do_step(step=step, by=firm.technician, expected_revision=None)
    end(visit)
    return done


def in_water(firm: Firm) -> list[tuple[str, Decimal]]:
    doses = doses_in_water(firm.spa, filled=last_filled(firm.spa), until=timezone.now())
    return [(dose.substance, dose.mass_g) for dose in doses]


def test_a_dose_counts_as_its_pure_substance_even_when_its_visit_was_never_signed(in_firm: Firm) -> None:
    dosed(in_firm, "sodium_bicarbonate", "50", "0.99")

    assert in_water(in_firm) == [("sodium_bicarbonate", Decimal("49.5"))]


def test_what_was_really_added_counts_not_what_was_planned(in_firm: Firm) -> None:
    visit = read(in_firm, started(in_firm), GOOD)
    first, second, _ = with_plan(
        visit, [(product(in_firm, "Bicarbonate"), "50", 15), (product(in_firm, "Acid salt"), "10", 30)]
    )
    do_step(
        step=first,
        by=in_firm.technician,
        expected_revision=None,
        actual_mass_g=Decimal(30),
        reason="The tub of it was empty",
    )
    skip_step(step=second, reason="None left", by=in_firm.technician, expected_revision=None)

    assert in_water(in_firm) == [("sodium_bicarbonate", Decimal("29.7"))]


def test_doses_go_with_the_water_they_were_put_into(in_firm: Firm, clock: Any) -> None:
    dosed(in_firm, "sodium_bicarbonate", "50")
    clock.shift(timedelta(days=1))
    filled_before(in_firm, timedelta())
    clock.shift(timedelta(hours=1))
    dosed(in_firm, "sodium_bisulfate", "10")

    assert last_filled(in_firm.spa) == MORNING + timedelta(days=1)
    assert in_water(in_firm) == [("sodium_bisulfate", Decimal(10))]


def test_a_replaced_share_takes_its_share_of_earlier_doses(in_firm: Firm, clock: Any) -> None:
    step = dosed(in_firm, "sodium_bicarbonate", "50")
    clock.shift(timedelta(minutes=30))
    TreatmentStep.objects.create(
        organisation=in_firm.organisation,
        visit=step.visit,
        decision=step.decision,
        order=9,
        action="replace_water",
        planned={"replace_fraction": 0.4},
        state=StepState.DONE,
        done_at=timezone.now(),
    )

    assert in_water(in_firm) == [("sodium_bicarbonate", Decimal("30.0"))]


def test_where_no_filling_is_known_old_doses_are_left_out(in_firm: Firm, clock: Any) -> None:
    dosed(in_firm, "sodium_bicarbonate", "50")
    clock.shift(timedelta(days=121))

    assert in_water(in_firm) == []


def test_the_drain_counts_from_the_line_of_the_filling(in_firm: Firm, clock: Any) -> None:
    visit = started(in_firm)
    for key in ("breaker_off", "old_water_tested", "lines_purged", "discharged", "cleaned"):
        tick_line(visit=visit, key=key, by=in_firm.technician, expected_revision=None)
    assert last_filled(in_firm.spa) is None
    clock.shift(timedelta(hours=1))

    tick_line(visit=visit, key="filled", by=in_firm.technician, expected_revision=None)

    assert last_filled(in_firm.spa) == MORNING + timedelta(hours=1)


@pytest.mark.parametrize(
    ("substance", "grams", "bromine", "expected"),
    [
        # 30 g NaBr in 1250 L: 30 x 79.904 / 102.894 / 1.25 = 18.64 mg/L (CIAAW atomic weights, 2021).
        ("sodium_bromide", "30", "0", 18.64),
        # What is active is not in the bank: 18.64 - 4.
        ("sodium_bromide", "30", "4", 14.64),
        # 20 g BCDMH, one bromine atom a mole of 241.47 g: 20 x 79.904 / 241.47 / 1.25 = 5.29 mg/L.
        ("bcdmh", "20", "0", 5.29),
        ("bcdmh", "20", "8", 0.0),
        ("sodium_bicarbonate", "500", "0", 0.0),
    ],
)
def test_the_bromide_bank_is_what_was_added_less_what_is_active(
    substance: str, grams: str, bromine: str, expected: float
) -> None:
    doses = [PastDose(substance, Decimal(grams), MORNING, "granules")]

    bank = bromide_mg_l(doses, volume_l=1250, total_bromine_mg_l=Decimal(bromine))

    assert bank == pytest.approx(expected, abs=0.01)


def test_the_engine_is_told_of_the_bromide_only_where_the_filling_is_known(in_firm: Firm, clock: Any) -> None:
    in_firm.spa.sanitiser = Sanitiser.BROMINE
    in_firm.spa.save()
    dosed(in_firm, "sodium_bromide", "30")
    clock.shift(timedelta(days=1))
    water = {"total_bromine_mg_l": "4", "ph": "7.4"}
    visit = read(in_firm, started(in_firm), water)
    assert "bromide_mg_l" not in treatment_request(visit, Moment.BEFORE)["readings"]

    filled_before(in_firm, timedelta(days=2))

    request = treatment_request(fresh(visit), Moment.BEFORE)
    assert request["readings"]["bromide_mg_l"] == pytest.approx(14.64, abs=0.01)
    assert request["recent"] == [
        {"add": "sodium_bromide", "mass_g": 30.0, "at": MORNING.isoformat(), "form": "granules"}
    ]
