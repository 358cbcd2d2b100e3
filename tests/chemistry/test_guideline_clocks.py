"""Tests, drains, filters, samples, other duties and records: when they fall due, by which rule."""

from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from service.chemistry.guidelines import get
from service.chemistry.guidelines.clocks import (
    drain_due,
    due_tests,
    filter_due,
    fitness_lapses,
    microbiology_due,
    other_duties_due,
    retention_until,
)

JUNE_1 = date(2026, 6, 1)


def at(hour, minute=0, day=1):
    return datetime(2026, 6, day, hour, minute, tzinfo=UTC)


def times_of(*times):
    """The same test times for free chlorine, total chlorine and pH."""
    return dict.fromkeys(("free_chlorine_mg_l", "total_chlorine_mg_l", "combined_chlorine_mg_l", "ph"), times)


@pytest.mark.parametrize(
    ("set_id", "more", "expected"),
    [
        ("victoria_phw_2019", {}, at(12)),  # Public Health and Wellbeing Regulations 2019 (Vic) r.48: 4 h
        ("maryland_comar", {"feed": "manual"}, at(10)),  # COMAR 10.17.01.46 A: 2 h
        ("anchorage_16_15", {}, at(10)),  # Anchorage 16.15.260 G: 2 h
        ("mahc", {"feed": "automatic"}, at(12)),  # MAHC 6.4.1, from memory: 4 h
        ("mahc", {"feed": "manual"}, at(10)),  # MAHC 6.4.1, from memory: 2 h
    ],
)
def test_a_test_falls_due_so_many_hours_after_the_last(set_id, more, expected):
    due = fitness_lapses(get(set_id), times_of(at(8)), now=at(9), sanitiser="chlorine", **more)
    assert (due.at, due.is_overdue) == (expected, False)
    assert due.sum.startswith("2026-06-01 08:00 + ")


def test_none_today_is_overdue_where_one_a_day_is_asked():
    # HSG282 (2017) domestic-type table, second-hand: at least daily in a let
    yesterday = times_of(at(22))
    due = fitness_lapses(get("uk_hsg282"), yesterday, now=at(9, day=2), sanitiser="chlorine", facility="let")
    assert due.is_overdue
    assert due.sum == "0 of 1 today"


def test_a_test_today_holds_until_midnight_where_one_a_day_is_asked():
    # 22 CCR 65523: daily
    due = fitness_lapses(get("california_22ccr"), times_of(at(7)), now=at(9), sanitiser="chlorine")
    assert (due.at, due.is_overdue) == (at(0, day=2), False)


def test_never_tested_is_overdue():
    due = fitness_lapses(get("victoria_phw_2019"), {}, now=at(9), sanitiser="chlorine")
    assert due.is_overdue
    assert due.sum == "Never tested: due today"


def test_the_day_begins_at_the_sites_own_midnight():
    # 22 CCR 65523: daily; 23:30 UTC is half past nine the next morning ten hours east
    now = at(23, 30).astimezone(timezone(timedelta(hours=10)))
    due = fitness_lapses(get("california_22ccr"), times_of(at(8)), now=now, sanitiser="chlorine")
    assert due.is_overdue


def test_the_least_recently_tested_parameter_rules():
    # Public Health and Wellbeing Regulations 2019 (Vic) r.48: each of them every 4 h
    times = {**times_of(at(8)), "ph": [at(6)]}
    due = fitness_lapses(get("victoria_phw_2019"), times, now=at(9), sanitiser="chlorine")
    assert due.at == at(10)


def test_a_set_without_a_test_interval_falls_back_to_a_day_and_says_whose_rule_that_is():
    # 10 NYCRR 6-1.25 as read states none
    due = fitness_lapses(get("new_york_6_1"), times_of(at(8)), now=at(9), sanitiser="chlorine")
    assert due.at == at(8, day=2)
    assert due.citation.source == "house floor (no source)"


def test_an_old_test_of_something_else_does_not_end_fitness():
    # 22 CCR 65523: temperature daily too, but nobody is let in or kept out by its test alone
    guideline, times = get("california_22ccr"), {**times_of(at(7)), "temperature_c": []}
    due = due_tests(guideline, times, now=at(9), sanitiser="chlorine")
    assert [item.parameters for item in due if item.is_overdue] == [("temperature_c",)]
    assert not fitness_lapses(guideline, times, now=at(9), sanitiser="chlorine").is_overdue


def test_several_a_day_are_spread_over_the_day():
    # HSG282 (2017) section 5, from memory: three a day in commercial use; spreading them is our choice
    guideline = get("uk_hsg282")
    once = fitness_lapses(guideline, times_of(at(8)), now=at(9), sanitiser="chlorine", facility="commercial")
    assert once.at == at(16)
    thrice = times_of(at(8), at(12), at(17))
    done = fitness_lapses(guideline, thrice, now=at(18), sanitiser="chlorine", facility="commercial")
    assert done.at == at(0, day=2)


@pytest.mark.parametrize(("used", "is_asked"), [((), False), (("cyanuric_acid_mg_l",), True)])
def test_a_test_of_what_is_not_used_is_not_asked(used, is_asked):
    # 22 CCR 65523: cyanuric acid monthly, if used
    due = due_tests(get("california_22ccr"), times_of(at(8)), now=at(9), sanitiser="chlorine", used=used)
    assert any("cyanuric_acid_mg_l" in item.parameters for item in due) is is_asked


def test_a_bromine_spa_is_not_asked_for_chlorine():
    # ARM 37.115, testing rule paras (1), (2), (5): every 4 h
    times = {"total_bromine_mg_l": [at(8)], "ph": [at(8)], "temperature_c": [at(8)]}
    due = due_tests(get("montana_37_115"), times, now=at(9), sanitiser="bromine")
    four_hourly = [item.parameters for item in due if item.at == at(12)]
    assert four_hourly == [("temperature_c",), ("total_bromine_mg_l", "ph")]
    assert not any("chlorine" in name for item in due for name in item.parameters)


@pytest.mark.parametrize(
    ("set_id", "changeovers", "facility", "expected"),
    [
        ("new_york_6_1", [], None, date(2026, 6, 15)),  # 10 NYCRR 6-1.25(d): every two weeks
        ("uk_hsg282", [date(2026, 6, 4)], "let", date(2026, 6, 4)),  # HSG282 domestic-type, second-hand
        ("uk_hsg282", [], "let", date(2026, 6, 8)),
        ("uk_hsg282", [date(2026, 6, 20)], "let", date(2026, 6, 8)),
        ("uk_hsg282", [JUNE_1], "let", date(2026, 6, 8)),
        ("uk_hsg282", [date(2026, 6, 4)], "commercial", date(2026, 6, 8)),  # weekly, from memory
    ],
)
def test_a_drain_falls_due_at_its_interval_or_the_change_of_group(set_id, changeovers, facility, expected):
    due = drain_due(get(set_id), drained_on=JUNE_1, changeovers=changeovers, facility=facility)
    assert due.on == expected


def test_a_set_without_a_drain_interval_gives_none():
    assert drain_due(get("dc_25c"), drained_on=JUNE_1) is None


@pytest.mark.parametrize(
    ("gauge", "drained_on", "expected"),
    # 641-15.51(1)a (Iowa): monthly with a working inlet gauge; else two-weekly and at every drain
    [
        (True, None, JUNE_1 + timedelta(days=30)),
        (False, None, JUNE_1 + timedelta(days=14)),
        (False, JUNE_1 + timedelta(days=5), JUNE_1 + timedelta(days=5)),
        (True, JUNE_1 + timedelta(days=5), JUNE_1 + timedelta(days=30)),
        (None, None, JUNE_1 + timedelta(days=14)),
    ],
)
def test_a_cartridge_falls_due_by_its_gauge(gauge, drained_on, expected):
    due = filter_due(get("iowa_641_15"), cleaned_on=JUNE_1, inlet_gauge=gauge, drained_on=drained_on)
    assert due.on == expected


def test_a_sand_filter_is_opened_yearly():
    # 641-15.51(1)a(2), (3) (Iowa)
    due = filter_due(get("iowa_641_15"), cleaned_on=JUNE_1, filter_kind="sand_or_diatomaceous_earth")
    assert due.on == date(2027, 6, 1)


def test_a_cartridge_falls_due_between_groups():
    # HSG282 (2017) domestic-type table, second-hand: each group or weekly, whichever is shorter
    due = filter_due(get("uk_hsg282"), cleaned_on=JUNE_1, changeovers=[date(2026, 6, 5)])
    assert due.on == date(2026, 6, 5)
    assert due.sum == "Change of group on 2026-06-05"


@pytest.mark.parametrize(
    ("set_id", "incident", "expected"),
    [
        ("california_22ccr", False, date(2026, 3, 1)),  # 22 CCR 65523: 2 years
        ("dc_25c", False, date(2027, 3, 1)),  # 25-C DCMR 412: 3 years
        ("montana_37_115", True, date(2029, 3, 1)),  # ARM 37.115 records rule (8): 60 months for accidents
        ("montana_37_115", False, date(2027, 3, 1)),  # the same: 36 months
        ("uk_hsg282", False, date(2029, 3, 1)),  # ACoP L8 and HSG282, from memory: 5 years
    ],
)
def test_a_record_is_kept_as_long_as_the_set_asks(set_id, incident, expected):
    due = retention_until(get(set_id), made_on=date(2024, 3, 1), incident=incident)
    assert due.on == expected


def test_a_record_of_a_leap_day_is_not_kept_a_day_too_short():
    assert retention_until(get("california_22ccr"), made_on=date(2024, 2, 29)).on == date(2026, 3, 1)


def test_a_set_without_a_retention_time_gives_none():
    assert retention_until(get("new_york_6_1"), made_on=JUNE_1) is None


def test_the_longer_retention_of_a_pair_rules():
    assert retention_until(get("california_22ccr+dc_25c"), made_on=JUNE_1).on == date(2029, 6, 1)


def test_samples_fall_due_by_their_interval_and_at_once_when_never_taken():
    # WHO 2007 section 8.5.2: hot tubs monthly; HSG282 domestic-type, second-hand: legionella quarterly
    [monthly] = microbiology_due(get("who_2007"), {"legionella_cfu_l": JUNE_1}, today=JUNE_1)
    assert monthly.on == date(2026, 7, 1)
    due = {
        item.duty: item.on
        for item in microbiology_due(get("uk_hsg282"), {"legionella_cfu_l": JUNE_1}, today=date(2026, 6, 3))
    }
    assert due["legionella_cfu_l"] == date(2026, 8, 31)
    assert due["colony_count_cfu_ml"] == date(2026, 6, 3)


def test_other_duties_fall_due_by_their_interval():
    # HSG282 (2017) domestic-type table, second-hand: pipework weekly, air filter monthly
    done = {"inspect_pipework_and_jets": JUNE_1, "clean_input_air_filter": JUNE_1}
    due = {item.duty: item.on for item in other_duties_due(get("uk_hsg282"), done, today=date(2026, 6, 3))}
    assert due["inspect_pipework_and_jets"] == date(2026, 6, 8)
    assert due["clean_input_air_filter"] == date(2026, 7, 1)
    assert due["check_automatic_systems"] == date(2026, 6, 3)
