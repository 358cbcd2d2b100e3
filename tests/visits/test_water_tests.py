"""Which test of the water is due when, by the clause of the set in force."""

from datetime import UTC, datetime, timedelta
from typing import Any

from django.utils import timezone

from service.sites.models import ClientKind
from service.visits.water_tests import due_water_tests
from tests.personas import Firm
from tests.visits.working import GOOD, MORNING, fresh, planned, read, signed, started


def due(firm: Firm, guideline: str) -> dict[str, Any]:
    firm.spa.guideline_id = guideline
    firm.spa.save()
    spa = fresh(planned(firm)).spa
    return {name: test for test in due_water_tests(spa, timezone.now()) for name in test.parameters}


def test_victoria_wants_chlorine_and_ph_four_hourly_and_alkalinity_weekly(in_firm: Firm, clock: Any) -> None:
    # r.48: 08:00 -> 12:00; alkalinity weekly.
    signed(in_firm)
    clock.shift(timedelta(hours=1))

    tests = due(in_firm, "victoria_phw_2019")

    assert tests["ph"].at == MORNING + timedelta(hours=4)
    assert tests["total_alkalinity_mg_l"].at == MORNING + timedelta(days=7)
    assert not tests["ph"].is_overdue
    assert tests["total_chlorine_mg_l"].is_overdue
    assert "r.48" in tests["ph"].citation.short


def test_an_unsigned_test_counts_as_a_test(in_firm: Firm, clock: Any) -> None:
    read(in_firm, started(in_firm), GOOD)

    assert due(in_firm, "victoria_phw_2019")["ph"].at == MORNING + timedelta(hours=4)


def test_a_commercial_tub_is_tested_three_times_a_day_by_hsg282(in_firm: Firm, clock: Any) -> None:
    # HSG282 (2017), section 5, from memory: commercial at least three times a day; a let at least daily.
    signed(in_firm)
    clock.shift(timedelta(hours=1))
    tomorrow = datetime(2026, 6, 3, 23, 0, tzinfo=UTC)
    assert due(in_firm, "uk_hsg282")["ph"].at <= tomorrow

    in_firm.client.kind = ClientKind.GYM
    in_firm.client.save()

    assert due(in_firm, "uk_hsg282")["ph"].at == MORNING + timedelta(hours=8)


def test_a_spa_that_was_never_tested_is_due_today(in_firm: Firm) -> None:
    tests = due(in_firm, "california_22ccr")

    assert all(tests[name].is_overdue for name in ("ph", "free_chlorine_mg_l", "temperature_c"))
    assert "cyanuric_acid_mg_l" not in tests


def test_an_unknown_set_asks_for_no_test_of_its_own(in_firm: Firm) -> None:
    assert due(in_firm, "of_nowhere") == {}
