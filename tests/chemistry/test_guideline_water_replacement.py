"""Water replacement: three ways to count bathers, dissolved solids, days; and dilution."""

from fractions import Fraction

import pytest

from service.chemistry.guidelines import get
from service.chemistry.guidelines.water_replacement import (
    US_GALLON_L,
    WaterUse,
    by_average,
    by_each_day,
    by_total_since_fill,
    dilution,
    drain_days,
    replacement_due,
    whole_days,
)

GAL_300 = 300 * US_GALLON_L
GAL_600 = 600 * US_GALLON_L
# 10-144 CMR ch. 202 App. B (Maine), table of Example 2; its last day reads "less than 50"
WEEK = [85, 2, 19, 20, 105, 100, 49]


def first_drain(way, volume_l, bathers):
    """The first day, counted from one, whose end asks for a drain."""
    return drain_days(way, volume_l=volume_l, bathers=bathers).index(True) + 1


@pytest.mark.parametrize(
    ("bathers", "interval"),
    # W2, 10-144 CMR ch. 202 App. B Example 2: 600 gal, 85 bathers, 2.35 (printed 2.4), so 2 days;
    # and the intervals of its table, the last one more than 4 for fewer than 50 bathers
    [(85, 2), (2, 100), (19, 11), (20, 10), (105, 2), (100, 2), (49, 4)],
)
def test_a_days_interval_is_volume_by_three_by_bathers_in_whole_days(bathers, interval):
    assert by_each_day(WaterUse(GAL_600, [bathers])).interval_days == interval


@pytest.mark.parametrize(("interval", "days"), [("2.5", 2), ("2.51", 3), ("10.5", 10), ("0.4", 0)])
def test_an_exact_half_day_rounds_down(interval, days):
    # own choice, no source
    assert whole_days(Fraction(interval)) == days


def test_each_day_drains_on_the_days_of_the_published_table():
    # W3, 10-144 CMR ch. 202 App. B, table of Example 2
    assert drain_days(by_each_day, volume_l=GAL_600, bathers=WEEK) == [
        False, True, False, False, True, False, True,
    ]  # fmt: skip


def test_a_quiet_day_does_not_lift_the_smallest_interval():
    # 10-144 CMR ch. 202 App. B item 2: day one's 2 days rule on day two, whatever day two brought
    assert by_each_day(WaterUse(GAL_600, [85, 0])).interval_days == 2
    assert by_each_day(WaterUse(GAL_600, [0, 0])).interval_days is None
    assert by_each_day(WaterUse(GAL_600, [0, 0])).drain is False


def test_the_average_drains_the_same_week_first_on_day_five():
    # MAHC 5.12.1.2, from memory; computed: 85 + 2 + 19 + 20 + 105 = 231 >= 200
    assert first_drain(by_average, GAL_600, WEEK) == 5


@pytest.mark.parametrize(
    ("bathers", "drains"),
    # MAHC 5.12.1.2, from memory; computed: 600 gal / 3 = 200
    [([85, 2], False), ([85, 2, 113], True), ([85, 2, 112], False)],
)
def test_the_average_is_total_bathers_against_a_third_of_the_gallons(bathers, drains):
    assert by_average(WaterUse(GAL_600, bathers)).drain is drains


def test_the_average_gives_its_interval_unrounded():
    # computed: 200 / 43.5 = 4.6 days
    assert round(float(by_average(WaterUse(GAL_600, [85, 2])).interval_days), 1) == 4.6


def test_the_total_since_fill_drains_the_same_week_first_on_day_three():
    # W5, Anchorage 16.15.260 L(2); computed: 106 x 3 >= 200
    assert first_drain(by_total_since_fill, GAL_600, WEEK) == 3


def test_the_total_since_fill_is_not_rounded_to_whole_days():
    # W4: 87 bathers in two days give 2.3 days; rounded that would drain on day 2, and no code rounds so
    count = by_total_since_fill(WaterUse(GAL_600, [85, 2]))
    assert round(float(count.interval_days), 1) == 2.3
    assert count.drain is False


@pytest.mark.parametrize(
    ("way", "day"),
    # W6, 10-144 CMR ch. 202 App. B formula and Anchorage 16.15.260 L(2): 300 gal, two bathers a day
    [(by_each_day, 50), (by_average, 50), (by_total_since_fill, 8)],
)
def test_two_bathers_a_day_drain_on_a_day_that_depends_on_the_way_of_counting(way, day):
    assert first_drain(way, GAL_300, [2] * 60) == day


def test_forty_bathers_a_day_drain_on_day_three_by_the_total():
    # Anchorage 16.15.260 L(2), computed: 40 d x d >= 200 at d = 3
    assert first_drain(by_total_since_fill, GAL_600, [40] * 5) == 3


@pytest.mark.parametrize(
    ("solids", "drains"),
    # W1 and 10-144 CMR ch. 202 App. B item 1 with Example 1: fill 800, rise of 1500 or more
    [(2299, False), (2300, True), (2500, True)],
)
def test_dissolved_solids_drain_by_their_rise(solids, drains):
    use = WaterUse(GAL_600, [0], None, solids, 800)
    due = {item.count.formula_id: item for item in replacement_due(get("maine_10_144_202"), use)}
    assert due["tds_rise"].count.drain is drains


@pytest.mark.parametrize(("solids", "drains"), [(1499, False), (1500, True), (1600, True)])
def test_dissolved_solids_drain_by_an_absolute_figure_in_anchorage(solids, drains):
    # Anchorage 16.15.260 L(3): 1500, not a rise
    use = WaterUse(GAL_600, [0], None, solids)
    due = {item.count.formula_id: item for item in replacement_due(get("anchorage_16_15"), use)}
    assert due["tds_absolute"].count.drain is drains
    assert due["operator_judgement"].count.drain is None


@pytest.mark.parametrize(("days", "drains"), [(6, False), (7, True), (8, True)])
def test_montana_offers_a_fixed_week_as_one_of_three_ways(days, drains):
    # ARM 37.115.1309(2): weekly, by dissolved solids, or by bathers
    due = replacement_due(get("montana_37_115"), WaterUse(GAL_600, [0] * days))
    assert [item.count.formula_id for item in due] == ["fixed_days", "tds_rise", "bathers_each_day"]
    assert all(item.choice for item in due)
    assert due[0].count.drain is drains


@pytest.mark.parametrize(("bathers", "drains"), [(99, False), (100, True), (101, True)])
def test_a_limit_per_cubic_metre_counts_bathers_since_the_fill(bathers, drains):
    # HPA/HSE 2006, commercial-type, from memory: about 100 a cubic metre, or one day
    use = WaterUse(1000, [bathers], days=0)
    [due] = replacement_due(get("uk_hsg282"), use, facility="commercial")
    assert due.count.drain is drains
    assert replacement_due(get("uk_hsg282"), use, facility="let") == []


def test_the_rule_that_spoke_and_its_sum_are_told():
    [rise, each_day] = replacement_due(get("maine_10_144_202"), WaterUse(GAL_600, [85, 2], None, 2500, 800))
    assert rise.count.sum == "2500 - 800 = 1700 mg/L against 1500 mg/L"
    assert each_day.count.sum == "200 bathers a filling; shortest interval 2 d, 2 d since the last drain"
    assert each_day.rule == (
        "By the bathers of each day (Code of Maine Rules 10-144, chapter 202, Appendix B, Water Replacement"
        " Standards, 10-144 CMR ch. 202 App. B item 2, Examples 2 and 3)"
    )


@pytest.mark.parametrize("way", [by_each_day, by_average, by_total_since_fill])
def test_days_nobody_counted_leave_the_answer_open(way):
    count = way(WaterUse(GAL_600, [2, None, 2]))
    assert count.drain is None
    assert "bathers of 1 d not counted" in count.sum


def test_days_nobody_counted_cannot_undo_what_is_reached():
    # MAHC 5.12.1.2, from memory: 200 bathers are enough, whatever the uncounted day brought
    assert by_average(WaterUse(GAL_600, [200, None])).drain is True


def test_missing_solids_are_asked_for():
    [rise, _] = replacement_due(get("maine_10_144_202"), WaterUse(GAL_600, [0], None, 2500))
    assert rise.count.drain is None
    assert rise.count.sum == "Needs dissolved solids of the spa and of the supply water"


@pytest.mark.parametrize(
    ("now", "target", "fill", "percent"),
    [
        (60, 20, 0, 66.7),  # W7, mass balance, computed
        (2500, 1500, 800, 58.8),  # W8, mass balance, computed
        (85, 50, 0, 41.2),  # mass balance, computed
        (40, 50, 0, 0.0),
        (900, 800, 800, 100.0),
    ],
)
def test_the_replaced_share_follows_the_mass_balance(now, target, fill, percent):
    assert round(100 * float(dilution(now=now, target=target, fill=fill).fraction), 1) == percent


def test_a_supply_above_the_target_cannot_dilute_to_it():
    # mass balance: target 700 with fill 800
    impossible = dilution(now=2500, target=700, fill=800)
    assert not impossible.is_possible
    assert (
        impossible.sum == "The supply water (800) is above the target 700: no share of it brings 2500 there"
    )
