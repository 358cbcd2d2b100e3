"""The shipped sets hold what the documents say, and a broken data file names itself and its row."""

import copy
import json
from decimal import Decimal
from pathlib import Path

import pytest

import service.chemistry.guidelines as package
from service.chemistry.guidelines import GuidelineDataError, available, get
from service.chemistry.guidelines.citation import VERIFIED_LEVELS
from service.chemistry.guidelines.schema import parse

DATA = Path(package.__file__).parent / "data"

# Free chlorine, total bromine and pH as printed, with the place. None: no figure was found there.
LIMITS = [
    ("dc_25c", "free_chlorine", "3", "10", "25-C DCMR 404.2(b)(2); closure 715.1(h)"),
    ("dc_25c", "total_bromine", "4", "8", "25-C DCMR 404.2(b)(3); closure 715.1(h)"),
    ("dc_25c", "ph", "7.2", "7.8", "25-C DCMR 404.2(a); closure 715.1(f), (g)"),
    ("california_22ccr", "free_chlorine", "3", "10", "22 CCR 65529(b)"),
    ("california_22ccr", "total_bromine", "4", None, "22 CCR 65529(b)"),
    ("new_york_6_1", "free_chlorine", "1.5", "5", "10 NYCRR 6-1.25(c)(1)"),
    ("new_york_6_1", "total_bromine", "3", "6", "10 NYCRR 6-1.25(c)(2)"),
    ("new_york_6_1", "ph", "7.2", "7.8", "10 NYCRR 6-1.25(c)"),
    ("montana_37_115", "free_chlorine", "2", "8", "ARM 37.115.1308 Table 6"),
    ("montana_37_115", "total_bromine", "2", "10", "ARM 37.115.1308 Table 6"),
    ("iowa_641_15", "free_chlorine", "2", "8", "641-15.51 Table 12"),
    ("iowa_641_15", "total_bromine", "4", "18", "641-15.51 Table 12"),
    ("ontario_565", "free_chlorine", "5", "10", "O. Reg. 565 s.7(8)-(10)"),
    ("quebec_q2r39", "free_chlorine", "2", "3", "Q-2, r. 39, s.6; closure s.17"),
    ("quebec_q2r39", "total_bromine", "3", "5", "Q-2, r. 39, s.6; closure s.17"),
    (
        "victoria_phw_2019",
        "free_chlorine",
        "3",
        None,
        "Public Health and Wellbeing Regulations 2019, r.54(4)",
    ),
    ("nsw", "free_chlorine", "2", None, "Public Health Regulation 2012, Sch. 1 cl.4(2)(d)"),
    ("uk_hsg282", "free_chlorine", "3", "5", "HSG282 (2017), section 5"),
    ("uk_hsg282", "total_bromine", "4", "6", "HSG282 (2017), section 5"),
    ("uk_hsg282", "ph", "7", "7.6", "HSG282 (2017), section 5"),
    ("who_2007", "free_chlorine", "1", None, "chapter 8, quoting WHO 2006"),
    ("who_2007", "total_bromine", "4", "6", "chapter 8"),
    ("who_2006", "total_bromine", None, "5", "section 5.3"),
    ("din_19643", "free_chlorine", "0.7", "1", "DIN 19643-1"),
    ("din_19643", "ph", "6.5", "7.2", "DIN 19643-1"),
    ("anchorage_16_15", "free_chlorine", "2", "10", "Anchorage 16.15.260 E"),
    ("anchorage_16_15", "ph", "7.2", "7.6", "Anchorage 16.15.260 F"),
]


@pytest.mark.parametrize(("set_id", "row_name", "low", "high", "clause"), LIMITS)
def test_a_shipped_row_holds_the_printed_limits_and_their_place(set_id, row_name, low, high, clause):
    [row] = [row for row in get(set_id).rows if row.key == f"{set_id}/{row_name}"]
    assert row.min == (None if low is None else Decimal(low))
    assert row.max == (None if high is None else Decimal(high))
    assert row.clause == clause


def test_all_sets_and_rows_are_shipped():
    assert len(available()) == 19
    assert sum(len(item.rows) for item in available()) == 129


def test_every_figure_has_a_place_and_a_verification_level():
    for guideline in available():
        cited = [row.citation for row in guideline.rows]
        cited += [item.citation for item in guideline.closure_conditions]
        for kind in vars(guideline.duties).values():
            cited += [duty.citation for duty in kind]
        for citation in cited:
            assert citation.clause.strip()
            assert citation.verified in VERIFIED_LEVELS
            assert citation.document
            assert citation.edition


def test_levels_follow_from_the_rows_of_sanitiser_and_ph():
    levels = {item.id: item.level for item in available()}
    assert {name for name, level in levels.items() if level == "memory"} == {
        "uk_hsg282",
        "who_2006",
        "din_19643",
    }
    assert {name for name, level in levels.items() if level == "mixed"} == {
        "california_22ccr",
        "nsw",
        "mahc",
        "cdc_hot_tub_advice",
    }
    assert {name for name, level in levels.items() if level == "secondary"} == {"ontario_565", "queensland"}


def test_gaps_of_the_sets_are_known():
    with_limits = [item for item in available() if item.has_limits]

    def without(parameter):
        return {item.id for item in with_limits if not any(row.parameter == parameter for row in item.rows)}

    assert {item.id for item in available()} - {item.id for item in with_limits} == {
        "maine_10_144_202",
        "maryland_comar",
    }
    assert without("ph") == {"quebec_q2r39", "iowa_641_15", "who_2007"}
    assert without("total_bromine_mg_l") == {"victoria_phw_2019", "nsw", "din_19643", "anchorage_16_15"}
    assert len(without("temperature_c")) == 9


def test_a_missing_figure_is_said_aloud():
    assert get("quebec_q2r39").gaps("chlorine") == [
        "This set has no pH figure: only the house floor applies.",
        "This set has no water temperature figure: only the house floor applies.",
    ]


@pytest.mark.parametrize("fahrenheit_row", ["new_york_6_1", "montana_37_115", "california_22ccr", "mahc"])
def test_104_degrees_fahrenheit_is_40_degrees_celsius(fahrenheit_row):
    [row] = [row for row in get(fahrenheit_row).rows if row.parameter == "temperature_c"]
    assert (row.max, row.unit, row.in_own_unit("max")) == (Decimal(104), "degF", 40)


def test_what_a_visit_does_not_look_at_is_named():
    [outside] = get("mahc").outside_a_water_log()
    assert "overhead wires" in outside
    assert "lifesaving gear" in outside


def whole():
    """The District of Columbia file as plain data."""
    return json.loads((DATA / "dc_25c.json").read_text(encoding="utf-8"))


def broken(change):
    raw = copy.deepcopy(whole())
    change(raw)
    return json.dumps(raw)


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        (lambda raw: raw.update(colour="blue"), "set: unknown key colour"),
        (lambda raw: raw.pop("edition"), "set: edition is missing"),
        (lambda raw: raw.update(id="other"), "set: id other does not match the file's name"),
        (lambda raw: raw.update(title="  "), "set: title must be text"),
        (lambda raw: raw.update(pairs="no"), "set: pairs must be bool, not 'no'"),
        (lambda raw: raw["applies_to"].pop("let"), "applies_to: let is missing"),
        (lambda raw: raw["rows"][0].update(maks=1), "row free_chlorine: unknown key maks"),
        (lambda raw: raw["rows"][0].pop("clause"), "row free_chlorine: clause is missing"),
        (lambda raw: raw["rows"][0].update(clause=""), "row free_chlorine: clause must be text"),
        (lambda raw: raw["rows"][0].update(min=11), "row free_chlorine: min 11 is above max 10.0"),
        (lambda raw: raw["rows"][0].update(min=-1), "row free_chlorine: min must be a number of 0 or more"),
        (lambda raw: raw["rows"][0].update(max="3"), "row free_chlorine: max must be a number of 0 or more"),
        (
            lambda raw: raw["rows"][0].update(ideal_low=True),
            "row free_chlorine: ideal_low must be a number of 0 or more",
        ),
        (
            lambda raw: raw["rows"][0].update(close_below=4),
            "row free_chlorine: close_below 4 is above min 3.0",
        ),
        (
            lambda raw: raw["rows"][0].update(close_above=9),
            "row free_chlorine: max 10.0 is above close_above 9",
        ),
        (lambda raw: raw["rows"][0].update(ideal_low=2), "row free_chlorine: min 3.0 is above ideal_low 2"),
        (
            lambda raw: raw["rows"][0].update(unit="degF"),
            "row free_chlorine: degF is not a unit of free_chlorine_mg_l",
        ),
        (lambda raw: raw["rows"][0].update(parameter="fc"), "row free_chlorine: unknown parameter fc"),
        (lambda raw: raw["rows"][0].update(sanitiser="salt"), "row free_chlorine: unknown sanitiser salt"),
        (
            lambda raw: raw["rows"][0].update(verified="sure"),
            "row free_chlorine: verified sure is not one of memory, secondary, document",
        ),
        (
            lambda raw: raw["rows"][0].update(exclusive=["ideal_low"]),
            "row free_chlorine: exclusive names ideal_low, which the row does not hold",
        ),
        (
            lambda raw: raw["rows"][0].update(condition={"effect": "selects", "above": 3}),
            "row free_chlorine: condition {'effect': 'selects', 'above': 3} has no known form",
        ),
        (
            lambda raw: raw["rows"][0].update(condition={"effect": "hides", "outdoor": True}),
            "row free_chlorine: condition {'effect': 'hides', 'outdoor': True} has no known form",
        ),
        (lambda raw: raw["rows"].append(raw["rows"][0]), "row free_chlorine: the key stands twice"),
        (lambda raw: raw["rows"].append("pH"), "row 6: must be an object"),
        (lambda raw: raw["rules"].update(tea_breaks=[]), "rules: unknown key tea_breaks"),
        (
            lambda raw: raw["rules"]["test_frequency"][1].update(interval_hours="3"),
            "test_frequency 2: interval_hours must be int, not '3'",
        ),
        (
            lambda raw: raw["rules"]["test_frequency"][0].update(times_per_day=0),
            "test_frequency 1: times_per_day must be above 0",
        ),
        (
            lambda raw: raw["rules"]["record_retention"][0].pop("years"),
            "record_retention 1: years is missing",
        ),
        (
            lambda raw: raw["closure_conditions"][0].update(detectable_from="smell"),
            "closure_conditions 1: detectable_from smell is not one of reading, task, question, no",
        ),
    ],
)
def test_a_broken_data_file_names_the_file_and_the_row(change, fault):
    with pytest.raises(GuidelineDataError) as refused:
        parse(broken(change), file_name="dc_25c.json")
    assert str(refused.value) == f"dc_25c.json, {fault}"


def test_a_row_without_any_limit_is_refused():
    def change(raw):
        for name in ("min", "max", "close_below", "close_above"):
            del raw["rows"][0][name]

    with pytest.raises(GuidelineDataError, match="row free_chlorine: has no limit at all"):
        parse(broken(change), file_name="dc_25c.json")


@pytest.mark.parametrize(
    ("text", "fault"), [("{", "dc_25c.json: Expecting"), ('{"id": 1, "id": 2}', "a key stands twice")]
)
def test_a_file_that_is_no_proper_json_is_refused(text, fault):
    with pytest.raises(GuidelineDataError, match=fault):
        parse(text, file_name="dc_25c.json")


def test_the_unbroken_file_is_accepted():
    assert parse(broken(lambda _: None), file_name="dc_25c.json") == get("dc_25c")
