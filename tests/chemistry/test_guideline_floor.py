"""The house floor under every set (own choice, no source), bounded readings and closeness to a limit."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.chemistry.errors import InputError
from service.chemistry.guidelines import available, fit_for_use, get, judge
from service.chemistry.guidelines.exact import Quantity, exact
from service.chemistry.guidelines.in_force import Circumstances, own_maximum
from service.chemistry.guidelines.water_as_read import quantities
from service.chemistry.readings import Reading
from tests.chemistry.guideline_cases import GOOD_BROMINE, GOOD_CHLORINE, find, outcome


@pytest.mark.parametrize(
    ("parameter", "value", "expected"),
    [
        ("ph", 6.7, "close"),
        ("ph", 6.8, "in"),
        ("ph", 8.0, "in"),
        ("ph", 8.1, "close"),
        ("free_chlorine_mg_l", 0.9, "close"),
        ("free_chlorine_mg_l", 1.0, "in"),
        ("free_chlorine_mg_l", 10.0, "in"),
        ("free_chlorine_mg_l", 10.1, "close"),
        ("temperature_c", 40.0, "in"),
        ("temperature_c", 40.1, "close"),
    ],
)
def test_the_floor_closes_where_the_set_is_silent(parameter, value, expected):
    # WHO 2007 chapter 8 has no pH or temperature figure and no maximum of free chlorine
    assert outcome("who_2007", parameter, value) == expected


@pytest.mark.parametrize(("value", "expected"), [(1.9, "close"), (2.0, "in"), (10.0, "act"), (10.1, "close")])
def test_the_floor_closes_a_bromine_spa(value, expected):
    # WHO 2006 section 5.3, from memory: at most 5, no minimum
    assert outcome("who_2006", "total_bromine_mg_l", value, sanitiser="bromine") == expected


def test_the_floor_names_itself_and_claims_no_source():
    found = find("who_2007", {**GOOD_CHLORINE, "ph": 8.1})
    [finding] = found
    assert finding.source == "house floor (no source)"
    assert finding.verified == "house"
    assert finding.message == "pH reads 8.1, above 8 (house floor, ours, no source)."


def test_the_floor_is_silent_where_the_set_itself_closes():
    found = find("dc_25c", {**GOOD_CHLORINE, "free_chlorine_mg_l": 0.4})
    assert [item.row for item in found] == ["dc_25c/free_chlorine"]


@pytest.mark.parametrize(
    ("sanitiser", "missing"),
    [
        ("chlorine", "free_chlorine_mg_l"),
        ("chlorine", "ph"),
        ("bromine", "total_bromine_mg_l"),
        ("bromine", "ph"),
    ],
)
def test_what_was_not_measured_closes(sanitiser, missing):
    water = dict(GOOD_CHLORINE if sanitiser == "chlorine" else GOOD_BROMINE)
    del water[missing]
    [finding] = find("dc_25c", water, sanitiser=sanitiser)
    assert (finding.parameter, finding.severity, finding.value) == (missing, "closure", None)
    assert "was not measured" in finding.message


def test_an_unmeasured_temperature_is_advice():
    [finding] = find("dc_25c", {"free_chlorine_mg_l": 4, "ph": 7.4})
    assert (finding.parameter, finding.severity) == ("temperature_c", "advice")


def test_no_set_judges_another_sanitiser_so_it_is_never_fit():
    found = find("dc_25c", {"ph": 7.4, "temperature_c": 37}, sanitiser="other")
    assert not fit_for_use(found)


@pytest.mark.parametrize("question", ["clarity", "suction_cover", "electrics"])
@pytest.mark.parametrize(("answer", "closes"), [(False, True), (True, False), (None, False)])
def test_a_no_at_the_inspection_closes(question, answer, closes):
    found = find("new_york_6_1", GOOD_CHLORINE, inspection={question: answer})
    assert [item.severity for item in found] == (["closure"] if closes else [])


@pytest.mark.parametrize(
    ("set_id", "question", "clause"),
    [
        ("mahc", "clarity", "MAHC 6.6.3.1 item 11"),
        ("mahc", "suction_cover", "MAHC 6.6.3.1"),
        ("dc_25c", "circulation", "25-C DCMR 715.1(j)"),
        ("mahc", "bathers_within_limit", "MAHC 6.6.3.1"),
    ],
)
def test_a_no_cites_the_document_that_closes_for_it(set_id, question, clause):
    [finding] = find(set_id, GOOD_CHLORINE, inspection={question: False})
    assert finding.severity == "closure"
    assert finding.citation.clause == clause


def test_a_no_to_another_question_is_advice_where_no_document_closes_for_it():
    [finding] = find("new_york_6_1", GOOD_CHLORINE, inspection={"circulation": False})
    assert (finding.severity, finding.blocks_use) == ("advice", False)


def test_an_unknown_question_is_an_error():
    with pytest.raises(InputError, match=r"inspection\.colour: Unknown question"):
        find("dc_25c", GOOD_CHLORINE, inspection={"colour": False})


@pytest.mark.parametrize("parameter", ["legionella_cfu_l", "pseudomonas_aeruginosa_per_100_ml"])
def test_a_germ_the_set_has_no_limit_for_closes(parameter):
    # 25-C DCMR has no microbiology row
    assert outcome("dc_25c", parameter, 1) == "close"
    assert outcome("dc_25c", parameter, 0) == "in"
    assert outcome("dc_25c", parameter, {"value": 10, "bound": "<"}) == "in"


def test_a_goal_of_none_detectable_still_closes_when_a_germ_is_found():
    # WHO 2007 section 8.5.2 states goals, no limits
    assert outcome("who_2007", "legionella_cfu_l", 5000) == "close"


@pytest.mark.parametrize(
    ("bound", "value", "expected"),
    # 25-C DCMR 404.2(b)(2): 3.0 to 10.0
    [(">", 10, "close"), ("<", 3, "close"), ("<", 1, "close"), (">", 12, "close")],
)
def test_a_bounded_reading_beyond_a_limit_is_out(bound, value, expected):
    assert outcome("dc_25c", "free_chlorine_mg_l", {"value": value, "bound": bound}) == expected


@pytest.mark.parametrize(
    ("bound", "value", "limit"), [("<", 5, "below 3"), (">", 8, "above 10"), (">", 2, "below 3")]
)
def test_a_bounded_reading_that_cannot_tell_asks_for_a_repeat_and_keeps_people_out(bound, value, limit):
    found = find("dc_25c", {**GOOD_CHLORINE, "free_chlorine_mg_l": {"value": value, "bound": bound}})
    [finding] = found
    assert (finding.severity, finding.near_limit, finding.bound) == ("advice", True, bound)
    assert f"whether it is {limit} cannot be told; repeat by another method" in finding.message
    assert not fit_for_use(found)


def test_a_bounded_reading_may_be_surely_out_and_perhaps_closed():
    # Q-2, r. 39 (Quebec): s.6 at least 2.0, s.17 closes below 0.3; "<0.5" cannot tell the second
    found = find("quebec_q2r39", {**GOOD_CHLORINE, "free_chlorine_mg_l": {"value": 0.5, "bound": "<"}})
    [finding] = [item for item in found if item.row == "quebec_q2r39/free_chlorine"]
    assert (finding.severity, finding.near_limit) == ("out_of_range", True)
    assert "Whether it is below 0.3 cannot be told" in finding.message


def test_a_bounded_total_leaves_combined_chlorine_as_far_open_as_it_is():
    # 25-C DCMR 404.2(c): at most 0.4
    over = {"value": 10, "bound": ">"}
    found = find("dc_25c", {**GOOD_CHLORINE, "free_chlorine_mg_l": 4, "total_chlorine_mg_l": over})
    assert [(item.parameter, item.severity) for item in found] == [("combined_chlorine_mg_l", "out_of_range")]
    found = find("dc_25c", {**GOOD_CHLORINE, "free_chlorine_mg_l": 9.8, "total_chlorine_mg_l": over})
    [finding] = found
    assert (finding.parameter, finding.severity, finding.near_limit) == (
        "combined_chlorine_mg_l",
        "advice",
        True,
    )


@pytest.mark.parametrize(
    ("reading", "is_near"),
    [
        ({"value": 7.75, "plus_minus": 0.1}, True),
        ({"value": 7.75, "method": "photometer"}, True),
        ({"value": 7.4, "plus_minus": 0.1}, False),
        ({"value": 7.4, "method": "strip"}, True),
        ({"value": 7.75}, False),
    ],
)
def test_inside_but_too_close_to_tell_is_advice(reading, is_near):
    # 25-C DCMR 404.2(a): 7.2 to 7.8
    found = find("dc_25c", {**GOOD_CHLORINE, "ph": reading})
    assert [(item.severity, item.near_limit) for item in found] == ([("advice", True)] if is_near else [])
    assert fit_for_use(found)


def test_a_closure_close_to_its_limit_stands_until_the_repeat():
    found = find("dc_25c", {**GOOD_CHLORINE, "free_chlorine_mg_l": {"value": 2.9, "method": "photometer"}})
    [finding] = found
    assert (finding.severity, finding.near_limit) == ("closure", True)
    assert finding.message.endswith(
        "Close to the limit: repeat by another method; the closure stands until then."
    )


def test_a_limit_is_never_widened_by_the_error_of_the_reading():
    assert outcome("dc_25c", "free_chlorine_mg_l", {"value": 2.9, "plus_minus": 5}) == "close"


def test_diluting_the_sample_multiplies_the_error():
    # photometer, from memory: 0.1 + 5 % of what the instrument showed, here 2.0, times five
    reading = Reading(10.0, Decimal(10), method="photometer", dilution_factor=Decimal(5))
    assert quantities({"free_chlorine_mg_l": reading})["free_chlorine_mg_l"].plus_minus == exact(1.0)


ALL_SETS = st.sampled_from([item.id for item in available()])
NUMBER = st.decimals(min_value=0, max_value=30, places=2)
BOUND = st.sampled_from([None, None, None, "<", ">"])


@st.composite
def some_reading(draw, number=NUMBER):
    value = draw(number)
    return Reading(float(value), value, bound=draw(BOUND))


@st.composite
def some_water(draw):
    """Readings of which any may be missing, bounded or absurd."""
    water = {
        "free_chlorine_mg_l": draw(some_reading()),
        "total_bromine_mg_l": draw(some_reading()),
        "ph": draw(some_reading(st.decimals(min_value=6, max_value=9, places=2))),
        "temperature_c": draw(some_reading(st.decimals(min_value=30, max_value=45, places=1))),
        "orp_mv": draw(some_reading(st.decimals(min_value=600, max_value=900, places=0))),
    }
    missing = draw(st.sets(st.sampled_from(sorted(water))))
    return {name: reading for name, reading in water.items() if name not in missing}


def surely_within(quantity: Quantity | None, low: Decimal | None, high: Decimal) -> bool:
    """Written out again, apart from the code under test: measured, and nowhere outside low to high."""
    if quantity is None or quantity.high is None or quantity.high > exact(high):
        return False
    return low is None or (quantity.low is not None and quantity.low >= exact(low))


@given(set_id=ALL_SETS, sanitiser=st.sampled_from(["chlorine", "bromine"]), water=some_water())
def test_no_set_ever_calls_fit_what_is_unmeasured_or_outside_the_house_floor(set_id, sanitiser, water):
    guideline = get(set_id)
    try:
        found = judge(water, guideline=guideline, sanitiser=sanitiser, setting="outdoor", portable=False)
    except InputError:
        assert not guideline.limits_sanitiser(sanitiser)
        return
    if not fit_for_use(found):
        return
    read = quantities(water)
    assert surely_within(read.get("ph"), Decimal("6.8"), Decimal("8.0"))
    if "temperature_c" in read:
        assert surely_within(read["temperature_c"], None, Decimal(40))
    if sanitiser == "chlorine":
        assert surely_within(read.get("free_chlorine_mg_l"), Decimal(1), Decimal(10))
    else:
        own = own_maximum(guideline, Circumstances(read, sanitiser, "outdoor"), "total_bromine_mg_l")
        highest = max(Decimal(10), Decimal(22) if set_id == "iowa_641_15" else Decimal(10))
        assert own is None or own <= exact(highest)
        assert surely_within(read.get("total_bromine_mg_l"), Decimal(2), highest)


@given(
    set_id=ALL_SETS, water=some_water(), question=st.sampled_from(["clarity", "suction_cover", "electrics"])
)
def test_no_set_ever_calls_fit_what_the_inspection_denies(set_id, water, question):
    guideline = get(set_id)
    if not guideline.limits_sanitiser("chlorine"):
        return
    found = judge(
        water,
        guideline=guideline,
        sanitiser="chlorine",
        setting="outdoor",
        portable=False,
        inspection={question: False},
    )
    assert not fit_for_use(found)


@given(set_id=ALL_SETS, water=some_water())
def test_only_a_closing_row_the_floor_or_a_question_closes(set_id, water):
    guideline = get(set_id)
    if not guideline.limits_sanitiser("chlorine"):
        return
    found = judge(water, guideline=guideline, sanitiser="chlorine", setting="outdoor", portable=False)
    closing = {
        row.key for row in guideline.rows if row.close_below is not None or row.close_above is not None
    }
    for finding in found:
        if finding.severity == "closure":
            assert finding.verified == "house" or finding.row in closing
