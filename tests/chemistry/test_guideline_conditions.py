"""Rows that count only under a condition, and limits that need time."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from service.chemistry.guidelines import fit_for_use, get
from service.chemistry.guidelines.lasting import repeated_days
from tests.chemistry.guideline_cases import GOOD_BROMINE, GOOD_CHLORINE, find, outcome


@pytest.mark.parametrize(
    ("ph", "expected"),
    # Public Health Regulation 2012 (NSW) Sch. 1 cl. 4(3): minimum 2.0 becomes 3.0 above pH 7.6
    [(7.5, "in"), (7.6, "in"), (7.7, "act")],
)
def test_a_high_ph_tightens_the_chlorine_minimum(ph, expected):
    assert outcome("nsw", "free_chlorine_mg_l", 2.4, beside={"ph": ph}) == expected


def test_a_tightened_row_replaces_the_looser_one():
    found = find("nsw", {**GOOD_CHLORINE, "free_chlorine_mg_l": 1.8, "ph": 7.7})
    rows = [item.row for item in found if item.parameter == "free_chlorine_mg_l"]
    assert rows == ["nsw/free_chlorine_ph_above_7_6"]


def test_a_tightening_that_was_not_measured_counts_and_says_so():
    found = find("nsw", {"free_chlorine_mg_l": 2.4, "temperature_c": 37})
    [finding] = [item for item in found if item.row == "nsw/free_chlorine_ph_above_7_6"]
    assert "pH does not show otherwise, so this row is used." in finding.message


@pytest.mark.parametrize(
    ("free_chlorine", "orp", "expected"),
    # 641-15.51 Table 12 (Iowa): 1.0 to 1.8 only with ORP 700 to 880; 8.2 to 10.0 with ORP 650 to 700
    [
        (1.4, 750, "in"),
        (1.4, None, "act"),
        (1.4, 690, "act"),
        (9, 680, "in"),
        (9, None, "act"),
        (9, 720, "act"),
        (2.0, None, "in"),
        (1.9, 750, "act"),
    ],
)
def test_a_range_widens_only_when_the_potential_was_measured(free_chlorine, orp, expected):
    beside = {} if orp is None else {"orp_mv": orp}
    assert outcome("iowa_641_15", "free_chlorine_mg_l", free_chlorine, beside=beside) == expected


def test_a_widened_range_names_the_reading_that_allows_it():
    found = find("iowa_641_15", {**GOOD_CHLORINE, "free_chlorine_mg_l": 9, "orp_mv": 680})
    [finding] = [item for item in found if item.parameter == "free_chlorine_mg_l"]
    assert finding.severity == "advice"
    assert "Accepted because oxidation-reduction potential reads 680 mV." in finding.message
    assert fit_for_use(found)


@pytest.mark.parametrize(
    ("bromine", "orp", "expected"),
    # 641-15.51 Table 12 (Iowa): 4 to 18; 2.0 to 3.5 with ORP 700 to 880; 18.5 to 22 with 650 to 700
    [
        (18, None, "in"),
        (19, None, "close"),
        (20, 680, "in"),
        (22.1, 680, "close"),
        (3, 750, "in"),
        (3, None, "act"),
    ],
)
def test_bromine_may_pass_the_house_limit_where_the_set_allows_more(bromine, orp, expected):
    beside = {} if orp is None else {"orp_mv": orp}
    judged = outcome("iowa_641_15", "total_bromine_mg_l", bromine, sanitiser="bromine", beside=beside)
    assert judged == expected


@pytest.mark.parametrize(
    ("setting", "cyanuric_acid", "expected"),
    # city council's standard after the Queensland guideline: at most 50, outdoor pools only
    [("outdoor", 50, "in"), ("outdoor", 51, "act"), ("indoor", 51, "in")],
)
def test_an_outdoor_row_counts_outdoors_only(setting, cyanuric_acid, expected):
    assert outcome("queensland", "cyanuric_acid_mg_l", cyanuric_acid, setting=setting) == expected


@pytest.mark.parametrize(
    ("cyanuric_acid", "expected"),
    # ARM 37.115.1308: para (3) of the text says 50, Table 6 prints 100; the lower one is applied
    [(50, "in"), (51, "act"), (100, "act")],
)
def test_montanas_text_rules_over_its_table_for_cyanuric_acid(cyanuric_acid, expected):
    assert outcome("montana_37_115", "cyanuric_acid_mg_l", cyanuric_acid) == expected


@pytest.mark.parametrize(
    ("family", "alkalinity", "is_ideal"),
    # ARM 37.115.1308 Table 6: ideal 80 to 100 with hypochlorites, 100 to 120 with acidic products
    [
        ("hypochlorite", 90, True),
        ("hypochlorite", 110, False),
        ("acidic_or_bromine", 110, True),
        ("acidic_or_bromine", 90, False),
        (None, 70, True),
    ],
)
def test_the_ideal_alkalinity_follows_the_product_family(family, alkalinity, is_ideal):
    found = find(
        "montana_37_115", {**GOOD_CHLORINE, "total_alkalinity_mg_l": alkalinity}, product_family=family
    )
    advised = any(item.parameter == "total_alkalinity_mg_l" for item in found)
    assert advised != is_ideal


@pytest.mark.parametrize(("alkalinity", "expected"), [(59, "act"), (60, "in"), (221, "act")])
def test_limits_shared_by_all_product_families_hold_when_the_family_is_unknown(alkalinity, expected):
    # ARM 37.115.1308 Table 6: 60 to 220 either way
    assert outcome("montana_37_115", "total_alkalinity_mg_l", alkalinity) == expected


def test_a_bromine_spa_is_of_the_acidic_family():
    found = find("montana_37_115", {**GOOD_BROMINE, "total_alkalinity_mg_l": 90}, sanitiser="bromine")
    assert [item.row for item in found] == ["montana_37_115/total_alkalinity_acidic_or_bromine"]


@pytest.mark.parametrize(
    ("celsius", "free_chlorine", "expected"),
    # Q-2, r. 39, s.6 (Quebec): 2.0 to 3.0 above 35 degC; s.17 closes below 0.3 and above 5.0
    [(36, 2.5, "in"), (36, 3.1, "act"), (36, 5.1, "close"), (36, 0.2, "close"), (35, 3.1, "act")],
)
def test_quebecs_rows_are_for_warm_water(celsius, free_chlorine, expected):
    judged = outcome("quebec_q2r39", "free_chlorine_mg_l", free_chlorine, beside={"temperature_c": celsius})
    assert judged == expected


def test_a_set_whose_sanitiser_row_is_not_in_force_cannot_call_the_water_fit():
    found = find("quebec_q2r39", {**GOOD_CHLORINE, "free_chlorine_mg_l": 2.5, "temperature_c": 34})
    assert not fit_for_use(found)
    assert "no limit of this set is in force here" in found[0].message


def test_warm_water_rows_count_when_the_temperature_was_not_measured():
    found = find("quebec_q2r39", {"free_chlorine_mg_l": 3.1, "ph": 7.4})
    assert "quebec_q2r39/free_chlorine" in [item.row for item in found]


MORNING = datetime(2026, 6, 1, 8, tzinfo=UTC)


def combined(hours, value):
    """A test at so many hours after the first with this much combined chlorine beside 2.5 free."""
    at = MORNING + timedelta(hours=hours)
    total = float(Decimal("2.5") + Decimal(str(value)))
    return {
        **GOOD_CHLORINE,
        "free_chlorine_mg_l": {"value": 2.5, "at": at},
        "total_chlorine_mg_l": {"value": total, "at": at},
    }


@pytest.mark.parametrize(
    ("tests", "is_closed"),
    # Q-2, r. 39, s.17 (Quebec): combined chlorine above 1.0 for more than 24 h
    [
        ([(0, 1.2)], False),
        ([(0, 1.2), (25, 1.1)], True),
        ([(0, 1.2), (12, 0.9), (25, 1.2)], False),
        ([(0, 1.2), (24, 1.1)], False),
        ([(0, 1.2), (25, 1.0)], False),
    ],
)
def test_combined_chlorine_closes_only_when_it_lasts(tests, is_closed):
    *earlier, now = [combined(hours, value) for hours, value in tests]
    found = find("quebec_q2r39", now, earlier=earlier)
    closing = [item for item in found if item.severity == "closure"]
    assert bool(closing) == is_closed
    assert fit_for_use(found) != is_closed


def test_a_first_high_combined_chlorine_says_that_time_will_close_the_spa():
    found = find("quebec_q2r39", combined(0, 1.2))
    [finding] = [item for item in found if item.parameter == "combined_chlorine_mg_l"]
    assert finding.severity == "advice"
    assert finding.message.endswith("The spa must close if it lasts more than 24 h: test again.")


JUNE = [date(2026, 6, day) for day in range(1, 8)]
HIGH = {"free_chlorine_mg_l": Decimal(9), "orp_mv": Decimal(680)}
FINE = {"free_chlorine_mg_l": Decimal(5), "orp_mv": Decimal(720)}


@pytest.mark.parametrize(
    ("days", "is_due"),
    # 641-15.51 Table 12 (Iowa): drain on 2 such days in a row, or 4 of 7
    [
        ([FINE, HIGH], False),
        ([HIGH, HIGH], True),
        ([HIGH, FINE, HIGH, FINE, HIGH, FINE, HIGH], True),
        ([HIGH, FINE, HIGH, FINE, FINE, FINE, HIGH], False),
        ([HIGH, HIGH, FINE], False),
    ],
)
def test_iowa_asks_for_a_drain_on_the_second_day_of_high_chlorine_at_low_potential(days, is_due):
    daily = dict(zip(JUNE, days, strict=False))
    counts = repeated_days(get("iowa_641_15"), daily=daily, today=JUNE[len(days) - 1])
    [count] = [item for item in counts if item.id == "high_disinfectant_low_orp"]
    assert count.due is is_due


@pytest.mark.parametrize(("run", "is_due"), [(2, False), (3, True), (4, True)])
def test_iowa_asks_for_an_evaluation_after_three_days_of_low_potential(run, is_due):
    # 641-15.51 Table 12 (Iowa), footnote: 3 days in a row or 5 of 7
    daily = {day: {"orp_mv": Decimal(660)} for day in JUNE[:run]}
    counts = repeated_days(get("iowa_641_15"), daily=daily, today=JUNE[run - 1])
    [count] = [item for item in counts if item.id == "low_orp"]
    assert count.due is is_due
