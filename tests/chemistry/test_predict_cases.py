"""The 60 stored cases, made with PHREEQC; their file says how, and which conventions they rest on."""

import pytest

from service.chemistry.predict import predict
from tests.chemistry.phreeqc_reference import PhreeqcReference, cases_file

CASES = [pytest.param(case, id=case["id"]) for case in cases_file()["cases"]]
TOLERANCES = cases_file()["suggested_tolerances"]


def allowed(name, expected):
    tolerance = TOLERANCES[name]
    if isinstance(tolerance, dict):
        return max(tolerance["absolute"], tolerance["relative"] * abs(expected))
    return tolerance


@pytest.mark.parametrize("case", CASES)
def test_stored_case_is_met(case):
    answer = predict(case["request"])

    for moment in ("before", "after"):
        for name, expected in case["response"][moment].items():
            assert answer[moment][name] == pytest.approx(expected, abs=allowed(name, expected)), name


@pytest.mark.parametrize("case", CASES)
def test_stored_case_is_met_as_closely_as_its_digits_allow(case):
    """An engine with PHREEQC's own constants and activities has no excuse for the looser tolerances."""
    after, expected = predict(case["request"])["after"], case["response"]["after"]

    assert after["ph"] == pytest.approx(expected["ph"], abs=0.0002)
    assert after["saturation_index"] == pytest.approx(expected["saturation_index"], abs=0.0003)
    assert after["total_alkalinity_mg_l"] == pytest.approx(expected["total_alkalinity_mg_l"], abs=0.01)


@pytest.mark.parametrize("case", CASES)
def test_reference_still_makes_the_stored_case(case):
    """The input builder of phreeqc_reference.py follows the conventions of the file."""
    again = PhreeqcReference().predict(case["request"])["after"]

    assert again["ph"] == pytest.approx(case["response"]["after"]["ph"], abs=0.0002)
