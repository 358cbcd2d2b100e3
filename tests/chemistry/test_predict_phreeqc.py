"""`predict` against PHREEQC itself (phreeqpython 1.6.2, phreeqc.dat and the stored added species).

Bars: pH 0.01, saturation index 0.03, alkalinity 0.2 mg/L when the background ions are known; pH 0.03 and
index 0.06 when only the dissolved solids are. The measured agreement is a hundred times closer.
"""

from random import Random

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from service.chemistry.errors import InputError
from service.chemistry.predict import predict
from tests.chemistry.phreeqc_reference import PhreeqcReference, PhreeqcRefusedError, initial_amounts
from tests.chemistry.random_waters import (
    SUBSTANCES,
    random_background,
    random_dose,
    random_readings,
    random_request,
)

GRAMS_PER_MOL = {
    "Ca": 40.078,
    "Na": 22.990,
    "K": 39.098,
    "Mg": 24.305,
    "Cl": 35.453,
    "Br": 79.904,
    "Alkalinity": 61.017,
    "B": 61.83,
    "Cya": 129.07,
    "Ocl": 52.46,
    "Obr": 96.91,
    "S(6)": 96.06,
}


@pytest.fixture(scope="module")
def reference():
    return PhreeqcReference()


def ours(request):
    """The engine's answer, or None where it refuses the water."""
    try:
        return predict(request)
    except InputError:
        return None


def theirs(reference, request):
    """PHREEQC's answer, or None where it finds none."""
    try:
        return reference.predict(request)
    except PhreeqcRefusedError:
        return None


def assert_agree(answer, expected):
    for moment in ("before", "after"):
        found, wanted = answer[moment], expected[moment]
        assert found["ph"] == pytest.approx(wanted["ph"], abs=0.01)
        assert found["total_alkalinity_mg_l"] == pytest.approx(wanted["total_alkalinity_mg_l"], abs=0.2)
        assert found["saturation_index"] == pytest.approx(wanted["saturation_index"], abs=0.03)
        for name in ("carbonate_alkalinity_mg_l", "calcium_hardness_mg_l", "total_dissolved_solids_mg_l"):
            assert found[name] == pytest.approx(wanted[name], abs=0.2), name
        for name in ("dissolved_inorganic_carbon_mmol_l", "hypochlorous_acid_mg_l", "hypochlorite_mg_l"):
            assert found[name] == pytest.approx(wanted[name], rel=0.005, abs=0.001), name
        for name in ("free_chlorine_mg_l", "total_bromine_mg_l", "hypobromous_acid_mg_l", "bromide_mg_l"):
            assert found[name] == pytest.approx(wanted[name], abs=0.01), name
        for name in ("cyanuric_acid_mg_l", "borate_mg_l", "temperature_c", "log10_pco2_atm"):
            assert found[name] == pytest.approx(wanted[name], abs=0.01), name


@pytest.mark.parametrize("seed", range(11300, 11312))
def test_random_waters_and_steps_agree_with_phreeqc(reference, seed):
    """Twelve seeds of 30: waters of 10 to 42 °C, every substance and kind of step, one to three steps."""
    random = Random(seed)
    compared = 0
    for _ in range(30):
        request = random_request(random)
        answer, expected = ours(request), theirs(reference, request)

        assert (answer is None) == (expected is None), request
        if answer:
            assert_agree(answer, expected)
            compared += 1
    assert compared >= 25


@pytest.mark.parametrize("substance", SUBSTANCES)
def test_every_substance_agrees_with_phreeqc(reference, substance):
    random = Random(substance)
    for _ in range(6):
        readings = random_readings(random)
        readings["total_alkalinity_mg_l"] = max(readings["total_alkalinity_mg_l"], 90)
        request = {
            "volume_l": 1250,
            "readings": readings,
            "background_mmol_l": random_background(random),
            "steps": [random_dose(random, 1250, substance), {"oxidiser_used_up": True}],
        }

        assert_agree(predict(request), reference.predict(request))


@settings(deadline=None, max_examples=120, suppress_health_check=[HealthCheck.too_slow])
@given(random=st.randoms(note_method_calls=False))
def test_any_water_hypothesis_thinks_of_agrees_with_phreeqc(reference, random):
    request = random_request(random)
    expected = theirs(reference, request)
    assume(expected is not None)

    assert_agree(predict(request), expected)


def with_solids_reading(request):
    """The request as a technician could make it: total dissolved solids read, its ions unknown."""
    amounts = initial_amounts(request["readings"], request["background_mmol_l"])
    solids = 1000 * sum(GRAMS_PER_MOL[name] * amount for name, amount in amounts.items())
    readings = {**request["readings"], "total_dissolved_solids_mg_l": round(solids)}
    known = {**request, "readings": readings}
    return known, {name: part for name, part in known.items() if name != "background_mmol_l"}


def differences(reference, *, seed, most_sulfate, most_magnesium, tell_sulfate=False):
    random = Random(seed)
    ph, index = [], []
    while len(ph) < 150:
        request = random_request(random, background_known=True)
        request["background_mmol_l"] = random_background(random, most_sulfate=most_sulfate)
        request["background_mmol_l"]["Mg"] = round(random.uniform(0, most_magnesium), 3)
        request["steps"] = [step for step in request["steps"] if "fill" not in step]
        known, told = with_solids_reading(request)
        if tell_sulfate:
            told["readings"]["sulfate_mg_l"] = request["background_mmol_l"]["SO4"] * 96.06
        expected, answer = theirs(reference, known), ours(told)
        if not expected or not answer or not 6.5 <= expected["after"]["ph"] <= 8.6:
            continue
        ph.append(abs(answer["after"]["ph"] - expected["after"]["ph"]))
        index.append(abs(answer["after"]["saturation_index"] - expected["after"]["saturation_index"]))
    return sorted(ph), sorted(index)


def test_unknown_background_of_a_soft_supply_stays_inside_the_wider_bars(reference):
    """Sulfate up to 1 and magnesium up to 0.5 mmol/L, neither told to the engine."""
    ph, index = differences(reference, seed=41, most_sulfate=1, most_magnesium=0.5)

    assert ph[-1] <= 0.03
    assert index[-1] <= 0.06


def test_unknown_background_of_a_hard_supply_stays_inside_the_wider_bars_once_sulfate_is_read(reference):
    """Sulfate up to 4 mmol/L as a reading, magnesium up to 1.5 mmol/L not told: 95 in 100."""
    ph, index = differences(reference, seed=42, most_sulfate=4, most_magnesium=1.5, tell_sulfate=True)

    assert ph[int(0.95 * len(ph))] <= 0.03
    assert index[int(0.95 * len(index))] <= 0.06


def test_engine_refuses_what_phreeqc_refuses_alkalinity_below_what_cyanurate_holds(reference):
    request = {
        "volume_l": 1250,
        "readings": {
            "temperature_c": 30,
            "ph": 7.8,
            "total_alkalinity_mg_l": 20,
            "calcium_hardness_mg_l": 150,
            "cyanuric_acid_mg_l": 100,
            "borate_mg_l": 0,
            "free_chlorine_mg_l": 0,
            "total_bromine_mg_l": 0,
            "bromide_mg_l": 0,
            "total_dissolved_solids_mg_l": 800,
        },
        "steps": [],
    }

    with pytest.raises(PhreeqcRefusedError):
        reference.predict(request)
    with pytest.raises(InputError, match=r"readings\.total_alkalinity_mg_l: .* hold 35 mg/L .* retest both"):
        predict(request)
