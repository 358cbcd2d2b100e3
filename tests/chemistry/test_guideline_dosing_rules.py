"""Closed after dosing by hand, and regular high doses."""

from datetime import UTC, datetime

import pytest

from service.chemistry.guidelines import get
from service.chemistry.guidelines.dosing_rules import (
    closed_after_hand_dosing,
    hand_dosing_minutes,
    superchlorination,
)


def at(hour, minute=0):
    return datetime(2026, 6, 1, hour, minute, tzinfo=UTC)


@pytest.mark.parametrize(("now", "is_closed"), [(at(10), True), (at(10, 59), True), (at(11), False)])
def test_a_spa_is_shut_for_an_hour_after_dosing_by_hand(now, is_closed):
    # 25-C6416 (District of Columbia, read in the repealed chapter 64)
    closed = closed_after_hand_dosing(get("dc_25c"), dosed_at=at(10), now=now)
    assert closed.is_closed is is_closed
    assert closed.not_before == at(11)


@pytest.mark.parametrize(
    ("free_chlorine", "is_closed"), [(12, True), (10.1, True), (10.0, False), (None, True)]
)
def test_after_breakpoint_a_spa_is_shut_until_free_chlorine_is_ten(free_chlorine, is_closed):
    # 25-C6416 (District of Columbia, read in the repealed chapter 64)
    closed = closed_after_hand_dosing(
        get("dc_25c"), dosed_at=at(10), now=at(11), breakpoint_dose=True, free_chlorine_mg_l=free_chlorine
    )
    assert closed.is_closed is is_closed


def test_low_chlorine_after_breakpoint_does_not_shorten_the_hour():
    closed = closed_after_hand_dosing(
        get("dc_25c"), dosed_at=at(10), now=at(10, 30), breakpoint_dose=True, free_chlorine_mg_l=4
    )
    assert closed.is_closed


def test_a_set_without_the_rule_says_nothing_of_it():
    assert closed_after_hand_dosing(get("new_york_6_1"), dosed_at=at(10), now=at(10)) is None
    assert hand_dosing_minutes(get("new_york_6_1")) is None


@pytest.mark.parametrize(
    ("combined", "milligrams", "grams"),
    # COMAR 10.17.01.43 H (Maryland): at least ten times combined chlorine, daily; 1500 L
    [(0.6, 6.0, 9.0), (0, 0.0, 0.0), (0.25, 2.5, 3.75)],
)
def test_maryland_doses_ten_times_combined_chlorine(combined, milligrams, grams):
    [dose] = superchlorination(get("maryland_comar"), volume_l=1500, combined_chlorine_mg_l=combined)
    assert (float(dose.raise_by_mg_l), float(dose.chlorine_g)) == (milligrams, grams)
    assert dose.interval_days == 1


def test_free_chlorine_is_not_subtracted_from_ten_times_combined():
    [dose] = superchlorination(
        get("maryland_comar"), volume_l=1500, combined_chlorine_mg_l=0.6, free_chlorine_mg_l=3
    )
    assert float(dose.raise_by_mg_l) == 6.0
    assert dose.sum == "10 x 0.6 = 6 mg/L"


@pytest.mark.parametrize(("free", "rise"), [(3, 7.0), (10, 0.0), (12, 0.0)])
def test_new_york_brings_free_chlorine_to_ten_each_week_out_of_use(free, rise):
    # 10 NYCRR 6-1.25(c)(1)
    [dose] = superchlorination(get("new_york_6_1"), volume_l=1000, free_chlorine_mg_l=free)
    assert (float(dose.raise_by_mg_l), dose.interval_days, dose.closed) == (rise, 7, True)


@pytest.mark.parametrize("set_id", ["maryland_comar", "new_york_6_1"])
def test_a_missing_reading_is_asked_for(set_id):
    [dose] = superchlorination(get(set_id), volume_l=1000)
    assert dose.raise_by_mg_l is None
    assert dose.chlorine_g is None
    assert "eeds" in dose.sum
