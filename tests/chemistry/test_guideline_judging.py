"""Readings against published limits, each with the document and clause it stands in."""

from decimal import Decimal
from fractions import Fraction

import pytest

from service.chemistry.errors import InputError
from service.chemistry.guidelines import fit_for_use, get, judge
from service.chemistry.readings import Reading
from tests.chemistry.guideline_cases import GOOD_BROMINE, GOOD_CHLORINE, find, is_fit, outcome


@pytest.mark.parametrize(
    ("value", "expected"),
    # 25-C DCMR (2017) 404.2(b)(2): 3.0 to 10.0, both ends allowed; closure 715.1(h)
    [(2.9, "close"), (3.0, "in"), (10.0, "in"), (10.1, "close")],
)
def test_free_chlorine_closes_outside_its_limits_in_the_district_of_columbia(value, expected):
    assert outcome("dc_25c", "free_chlorine_mg_l", value) == expected


@pytest.mark.parametrize(
    ("value", "expected"),
    # 25-C DCMR (2017) 404.2(a): 7.2 to 7.8; closure below 6.5, 715.1(f), and above 8.0, 715.1(g)
    [(7.1, "act"), (6.4, "close"), (8.0, "act"), (8.1, "close"), (7.2, "in"), (7.8, "in")],
)
def test_ph_has_two_severities(value, expected):
    assert outcome("dc_25c", "ph", value) == expected


@pytest.mark.parametrize(
    ("value", "expected"),
    # 10 NYCRR 6-1.25(c)(2): 3 to 6, no closing figure
    [(2.9, "act"), (6.0, "in"), (6.1, "act")],
)
def test_bromine_is_acted_on_but_not_closed_where_the_document_has_no_closing_figure(value, expected):
    assert outcome("new_york_6_1", "total_bromine_mg_l", value, sanitiser="bromine") == expected


@pytest.mark.parametrize(
    ("set_id", "expected"),
    [
        ("dc_25c", "act"),  # 25-C DCMR 404.2(c): at most 0.4
        ("montana_37_115", "act"),  # ARM 37.115.1308 Table 6: at most 0.5
        ("queensland", "in"),  # city council's standard after the Queensland guideline: at most 1.0
    ],
)
def test_combined_chlorine_is_total_less_free_exactly(set_id, expected):
    beside = {"free_chlorine_mg_l": 3.0, "total_chlorine_mg_l": 3.6}
    found = find(set_id, {**GOOD_CHLORINE, **beside})
    severities = {item.severity for item in found if item.parameter == "combined_chlorine_mg_l"}
    assert ("out_of_range" in severities) == (expected == "act")


def test_combined_chlorine_of_exactly_the_limit_is_allowed_as_typed():
    # 4.4 - 4.0 is 0.4 and not 0.40000000000000036: 25-C DCMR 404.2(c), at most 0.4
    found = find("dc_25c", {**GOOD_CHLORINE, "free_chlorine_mg_l": 4.0, "total_chlorine_mg_l": 4.4})
    assert "out_of_range" not in {item.severity for item in found}


@pytest.mark.parametrize(
    ("set_id", "celsius", "expected"),
    [
        ("new_york_6_1", 40.0, "in"),  # 10 NYCRR 6-1.25(b): 104 degF, which is 40.0 degC
        ("new_york_6_1", 40.1, "act"),
        ("new_york_6_1", 38.5, "in"),
        ("nsw", 38.5, "act"),  # Public Health Regulation 2012 (NSW) Sch. 1 cl. 2: 38 degC
        ("nsw", 38.0, "in"),
    ],
)
def test_temperature_is_judged_in_the_unit_of_the_document(set_id, celsius, expected):
    found = find(set_id, {**GOOD_CHLORINE, "temperature_c": celsius})
    by_set = {item.severity for item in found if item.row and item.row.startswith(set_id)}
    assert by_set == ({"out_of_range"} if expected == "act" else set())


def test_a_fahrenheit_limit_is_shown_beside_the_celsius_reading():
    found = find("new_york_6_1", {**GOOD_CHLORINE, "temperature_c": 40.5})
    message = next(item.message for item in found if item.row == "new_york_6_1/temperature")
    assert message == (
        "Water temperature reads 40.5 °C (104.9 °F), above 104 °F"
        " (New York Codes, Rules and Regulations, Title 10, Subpart 6-1, 10 NYCRR 6-1.25(b))."
    )


@pytest.mark.parametrize(
    ("parameter", "value", "expected"),
    [
        ("colony_count_cfu_ml", 200, "in"),  # 22 CCR 65531: 200 per mL
        ("colony_count_cfu_ml", 201, "act"),
        ("total_coliforms_per_100_ml", 1, "act"),  # 22 CCR 65531: fewer than 1 per 100 mL
        ("total_coliforms_per_100_ml", 0, "in"),
        ("total_coliforms_mpn_per_100_ml", 2.1, "in"),  # 22 CCR 65531: below 2.2
        ("total_coliforms_mpn_per_100_ml", 2.2, "act"),
    ],
)
def test_laboratory_counts_are_judged(parameter, value, expected):
    assert outcome("california_22ccr", parameter, value) == expected


@pytest.mark.parametrize(
    ("value", "expected"),
    # HPA/HSE 2006 with HSG282, from memory: above 50 per 100 mL close
    [(10, "in"), (50, "in"), (51, "close")],
)
def test_pseudomonas_closes_above_fifty(value, expected):
    assert outcome("uk_hsg282", "pseudomonas_aeruginosa_per_100_ml", value) == expected


@pytest.mark.parametrize(
    ("value", "expected"),
    # HPA/HSE 2006 table 3 with HSG282, from memory: above 1000 per litre shut down
    [(100, "in"), (1000, "in"), (1001, "close")],
)
def test_legionella_closes_above_a_thousand_a_litre(value, expected):
    assert outcome("uk_hsg282", "legionella_cfu_l", value) == expected


def test_legionella_per_litre_is_judged_by_a_limit_per_100_ml():
    # WHO 2006 table 5.3, from memory: below 1 per 100 mL, which is below 10 per litre
    water = {**GOOD_CHLORINE, "free_chlorine_mg_l": 2.5}
    assert find("who_2006", {**water, "legionella_cfu_l": 9}) == []
    [finding] = find("who_2006", {**water, "legionella_cfu_l": 10})
    assert (finding.parameter, finding.severity) == ("legionella_per_100_ml", "out_of_range")


@pytest.mark.parametrize(
    ("total", "expected"),
    # HPA/HSE 2006 as cited by WHO 2007 chapter 8: at most one third of total chlorine
    [("4.5", "in"), ("4.51", "act"), ("4.4", "in")],
)
def test_a_third_of_total_chlorine_is_an_exact_third(total, expected):
    found = find(
        "who_2007", {**GOOD_CHLORINE, "free_chlorine_mg_l": 3, "total_chlorine_mg_l": Decimal(total)}
    )
    acted = any(item.parameter == "combined_chlorine_share_of_total" for item in found)
    assert acted == (expected == "act")


@pytest.mark.parametrize(
    ("total", "expected"),
    # HSG282 (2017) section 5, from memory: combined below half of free chlorine
    [(4.4, "in"), (4.5, "act"), (4.6, "act")],
)
def test_combined_at_exactly_half_of_free_is_not_below_half(total, expected):
    found = find("uk_hsg282", {**GOOD_CHLORINE, "free_chlorine_mg_l": 3, "total_chlorine_mg_l": total})
    acted = any(item.parameter == "combined_chlorine_share_of_free" for item in found)
    assert acted == (expected == "act")


def test_combined_chlorine_without_any_free_is_beyond_every_share():
    found = find("uk_hsg282", {**GOOD_CHLORINE, "free_chlorine_mg_l": 0, "total_chlorine_mg_l": 0.2})
    assert "out_of_range" in {
        item.severity for item in found if item.parameter == "combined_chlorine_share_of_free"
    }


@pytest.mark.parametrize(
    ("solids", "expected"),
    # 10-144 CMR ch. 202 App. B item 1: a rise of 1500 or more above source water, here 800
    [(2299, "in"), (2300, "act"), (2500, "act")],
)
def test_dissolved_solids_are_judged_by_their_rise_above_the_fill_water(solids, expected):
    more = {"fill": {"total_dissolved_solids_mg_l": 800}}
    found = find("maine_10_144_202+dc_25c", {**GOOD_CHLORINE, "total_dissolved_solids_mg_l": solids}, **more)
    acted = any(item.parameter == "total_dissolved_solids_rise_mg_l" for item in found)
    assert acted == (expected == "act")


def test_the_rise_is_not_judged_without_a_reading_of_the_fill_water():
    found = find("maine_10_144_202+dc_25c", {**GOOD_CHLORINE, "total_dissolved_solids_mg_l": 9000})
    assert not any(item.parameter == "total_dissolved_solids_rise_mg_l" for item in found)


@pytest.mark.parametrize(
    ("orp", "expected"),
    # Q-2, r. 39, s.6 (Quebec): above 750 mV
    [(750, "act"), (751, "in"), (749, "act")],
)
def test_an_exclusive_end_is_itself_out(orp, expected):
    assert outcome("quebec_q2r39", "orp_mv", orp, beside={"free_chlorine_mg_l": 2.5}) == expected


def test_an_exclusive_end_reads_as_not_above_it():
    found = find("quebec_q2r39", {**GOOD_CHLORINE, "free_chlorine_mg_l": 2.5, "orp_mv": 750})
    message = next(item.message for item in found if item.parameter == "orp_mv")
    assert message.startswith("Oxidation-reduction potential reads 750 mV, not above 750 (")


@pytest.mark.parametrize(
    ("capacity", "expected"),
    # DIN 19643-1, from memory: acid capacity at least 0.3 mmol/L, which is 15 mg/L as CaCO3
    [(15.1, "in"), (14.9, "act"), (30, "in")],
)
def test_acid_capacity_is_total_alkalinity_in_another_unit(capacity, expected):
    found = find(
        "din_19643",
        {"free_chlorine_mg_l": 1.0, "ph": 7.0, "temperature_c": 35, "total_alkalinity_mg_l": capacity},
        portable=False,
    )
    acted = any(item.parameter == "acid_capacity_mmol_l" for item in found)
    assert acted == (expected == "act")


def test_outside_the_ideal_is_advice_and_no_more():
    # ARM 37.115.1308 Table 6: pH 7.2 to 7.8, ideal 7.4 to 7.6
    found = find("montana_37_115", {**GOOD_CHLORINE, "ph": 7.3})
    assert [(item.severity, item.low, item.high) for item in found] == [
        ("advice", Decimal("7.4"), Decimal("7.6"))
    ]
    assert fit_for_use(found)


def test_good_water_is_fit_and_nothing_is_found():
    assert find("dc_25c", GOOD_CHLORINE) == []


def test_all_rows_of_a_parameter_are_judged_together():
    # MAHC 6.6.3.1 items 3, 4 close below 6.5; the range 7.0 to 7.8 is from memory
    found = find("mahc", {**GOOD_CHLORINE, "ph": 6.4})
    assert [(item.severity, item.row) for item in found] == [
        ("closure", "mahc/ph_closure"),
        ("out_of_range", "mahc/ph_range"),
    ]


def test_a_finding_says_what_was_read_and_where_the_limit_stands():
    [finding] = find("dc_25c", {**GOOD_CHLORINE, "free_chlorine_mg_l": 0.4})
    assert finding.message == (
        "Free chlorine reads 0.4 mg/L, below 3 (District of Columbia Municipal Regulations, Title 25,"
        " Subtitle C, Aquatic Facilities Regulations, 25-C DCMR 404.2(b)(2); closure 715.1(h))."
    )
    contract = {"parameter", "value", "unit", "low", "high", "severity", "near_limit", "source", "verified"}
    assert contract <= set(finding.as_dict())
    assert (finding.as_dict()["value"], finding.as_dict()["low"], finding.as_dict()["high"]) == (0.4, 3, 10)
    assert "2017" in finding.source
    assert finding.verified == "document"


def test_a_row_from_memory_says_so_in_its_sentence():
    found = find("uk_hsg282", {**GOOD_CHLORINE, "ph": 7.7})
    [finding] = [item for item in found if item.parameter == "ph"]
    assert finding.message.endswith("Unverified: check against the document.")
    assert finding.mark == "Unverified: check against the document"


def test_a_second_hand_row_says_so_in_its_sentence():
    # O. Reg. 565 s.7(8)-(10), read in a public health unit's page: 5 to 10
    [finding] = find("ontario_565", {**GOOD_CHLORINE, "free_chlorine_mg_l": 4.9})
    assert finding.message.endswith("Second-hand. Check the document.")


def test_free_chlorine_rows_do_not_judge_a_bromine_spa():
    found = find("dc_25c", {**GOOD_BROMINE, "free_chlorine_mg_l": 0}, sanitiser="bromine")
    assert found == []


@pytest.mark.parametrize(("total", "is_wrong"), [(2.9, True), (3.0, False), (3.1, False)])
def test_total_below_free_chlorine_keeps_people_out_until_both_are_repeated(total, is_wrong):
    water = {
        "free_chlorine_mg_l": Reading(3.0, Decimal("3.0")),
        "total_chlorine_mg_l": Reading(total, Decimal(str(total))),
        "ph": Reading(7.4, Decimal("7.4")),
        "temperature_c": Reading(37.0, Decimal(37)),
    }
    found = judge(water, guideline=get("dc_25c"), sanitiser="chlorine", setting="outdoor")
    wrong = [item for item in found if item.parameter == "total_chlorine_mg_l"]
    assert bool(wrong) == is_wrong
    assert fit_for_use(found) != is_wrong
    if is_wrong:
        assert "Repeat both tests" in wrong[0].message


@pytest.mark.parametrize(
    ("name", "value"), [("sanitiser", "salt"), ("setting", "roof"), ("product_family", "soap")]
)
def test_an_unknown_choice_is_an_error_at_its_field(name, value):
    with pytest.raises(InputError) as refused:
        find("dc_25c", GOOD_CHLORINE, **{name: value})
    assert [error.field for error in refused.value.errors] == [name]


def test_limits_are_given_in_the_readings_own_unit():
    found = find("new_york_6_1", {**GOOD_CHLORINE, "temperature_c": 41})
    [high] = [item.high for item in found if item.row == "new_york_6_1/temperature"]
    assert high == Decimal(40)


def test_a_share_limit_stays_a_third():
    row = next(row for row in get("who_2007").rows if row.parameter == "combined_chlorine_share_of_total")
    assert row.max == Fraction(1, 3)


@pytest.mark.parametrize(
    ("readings", "expected"),
    [
        ({"free_chlorine_mg_l": 1.4}, False),  # 10 NYCRR 6-1.25(c)(1): 1.5 to 5.0
        ({"free_chlorine_mg_l": 5.1}, False),
        ({"ph": 7.9}, False),  # 10 NYCRR 6-1.25(c): 7.2 to 7.8
        ({"free_chlorine_mg_l": 1.5}, True),
    ],
)
def test_sanitiser_or_ph_outside_the_set_is_never_fit_even_without_a_closing_figure(readings, expected):
    # own choice, no source
    assert is_fit("new_york_6_1", {**GOOD_CHLORINE, **readings}) is expected
