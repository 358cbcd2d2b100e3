"""No order, cap or wait that the rules call unsafe, ever; and the checker does see a rule that is missing."""

from dataclasses import replace
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.chemistry.treatment import rounds, timing
from service.chemistry.treatment.plan import ALL_RULES
from service.chemistry.treatment.treat import treat
from service.chemistry.waits import BETWEEN_PRODUCTS
from tests.chemistry.treatment_checker import broken_rules
from tests.chemistry.treatment_waters import any_request, kit, landing_request


@settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(st.integers(0, 10**9))
def test_no_plan_breaks_a_rule_for_any_request(seed):
    request = any_request(Random(seed))

    assert broken_rules(request, treat(request)) == []


@pytest.mark.parametrize("seed", range(40))
def test_no_plan_breaks_a_rule_for_a_water_that_needs_much(seed):
    request = landing_request(Random(seed))

    assert broken_rules(request, treat(request)) == []


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1000, 2000))
def test_no_plan_breaks_a_rule_for_a_thousand_more(seed):
    request = any_request(Random(seed))

    assert broken_rules(request, treat(request)) == []


def needs_much(**readings):
    """A water that needs alkalinity, acid or base, hardness and chlorine."""
    return {
        "volume_l": 1250,
        "sanitiser": "chlorine",
        "guideline": "dc_25c",
        "setting": "outdoor",
        "readings": {
            "temperature_c": 37,
            "ph": 8.3,
            "total_alkalinity_mg_l": 40,
            "calcium_hardness_mg_l": 40,
            "free_chlorine_mg_l": 0.5,
            "total_dissolved_solids_mg_l": 800,
            **readings,
        },
        "products": kit(
            "sodium_bicarbonate",
            "sodium_carbonate",
            "sodium_bisulfate",
            "calcium_chloride_dihydrate",
            "calcium_hypochlorite",
            "sodium_thiosulfate_pentahydrate",
        ),
    }


def seen(request, **changes):
    """What the checker says of the answer, with some of the planner's rules taken away."""
    return broken_rules(request, treat(request, rules=replace(ALL_RULES, **changes)))


def test_the_checker_is_content_with_all_rules_in_force():
    assert broken_rules(needs_much(), treat(needs_much())) == []


def test_the_checker_sees_doses_that_are_not_split():
    found = seen(needs_much(), splits=False)

    assert any("moves ph" in text or "above its cap" in text for text in found), found


def acid_then_chlorine(**readings):
    """A water that needs only a little acid and some chlorine."""
    return needs_much(**{"ph": 7.9, "total_alkalinity_mg_l": 100, "calcium_hardness_mg_l": 200, **readings})


def test_the_checker_sees_waits_between_pairs_that_are_missing():
    found = seen(acid_then_chlorine(), pair_waits=False)

    assert "calcium_hypochlorite 15 min after sodium_bisulfate" in found
    assert seen(acid_then_chlorine()) == []


def test_the_checker_sees_a_neutraliser_used_as_an_acid():
    request = acid_then_chlorine(ph=8.2, free_chlorine_mg_l=9)
    request["products"] = kit("sodium_thiosulfate_pentahydrate", "calcium_hypochlorite")

    assert "a neutraliser although the sanitiser is not above its limit" in seen(
        request, neutraliser_alone=False
    )
    assert seen(request) == []


def test_the_checker_sees_products_that_must_not_stand_in_one_plan():
    request = acid_then_chlorine(ph=7.4, cyanuric_acid_mg_l=26, free_chlorine_mg_l=0)
    weak = {**kit("calcium_hypochlorite")[0], "active_fraction": 0.08}
    request |= {"products": [*kit("dichlor_dihydrate"), weak], "bathers_expected": 4}

    assert "['calcium_hypochlorite'] and ['dichlor_dihydrate'] in one plan" in seen(
        request, conflicts_split=False
    )
    assert seen(request) == []


def test_the_checker_sees_a_wrong_order(monkeypatch):
    group_of = rounds.group_of
    monkeypatch.setattr(
        rounds, "group_of", lambda name: rounds.ALKALINITY if "chlorite" in name else group_of(name)
    )

    assert "round 1: sodium_bisulfate after calcium_hypochlorite" in seen(acid_then_chlorine())


def test_the_checker_sees_a_retest_that_comes_too_soon(monkeypatch):
    monkeypatch.setattr(timing, "_to_retest", lambda round_doses, now: BETWEEN_PRODUCTS)

    found = broken_rules(needs_much(), treat(needs_much()))

    assert any("retest 15 min after" in text for text in found), found


def test_the_checker_sees_a_cap_that_is_ignored(monkeypatch):
    monkeypatch.setattr("service.chemistry.treatment.products.largest_dose", no_cap)
    request = needs_much(total_alkalinity_mg_l=30, ph=7.5)

    found = broken_rules(request, treat(request, rules=replace(ALL_RULES, splits=False)))

    assert any("above its cap" in text for text in found), found


def no_cap(substance, **rest):
    return type("Cap", (), {"g_per_m3": float("inf"), "source": "none"})()


def test_the_checker_sees_a_dose_on_what_was_not_measured(monkeypatch):
    monkeypatch.setattr("service.chemistry.treatment.at_hand.refusal", lambda scene, product: None)
    request = needs_much()
    request["sanitiser"], request["guideline"] = "bromine", "dc_25c"
    request["readings"]["total_bromine_mg_l"] = 0.5
    del request["readings"]["free_chlorine_mg_l"]
    request["products"] = kit("sodium_bromide", "calcium_hypochlorite")

    found = broken_rules(request, treat(request))

    assert any("bromide is not known" in text for text in found), found
