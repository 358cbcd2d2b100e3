"""`python -m service.chemistry` from outside: a process, JSON in, JSON out, an exit status."""

import json
import subprocess
import sys

import pytest

from service.chemistry.substances import SUBSTANCES
from tests.chemistry.phreeqc_reference import cases_file

FIGURES = [
    "temperature_c",
    "ph",
    "total_alkalinity_mg_l",
    "carbonate_alkalinity_mg_l",
    "dissolved_inorganic_carbon_mmol_l",
    "calcium_hardness_mg_l",
    "cyanuric_acid_mg_l",
    "borate_mg_l",
    "free_chlorine_mg_l",
    "hypochlorous_acid_mg_l",
    "hypochlorite_mg_l",
    "total_bromine_mg_l",
    "hypobromous_acid_mg_l",
    "bromide_mg_l",
    "total_dissolved_solids_mg_l",
    "saturation_index",
    "log10_pco2_atm",
]
READINGS = {
    "temperature_c": 38.5,
    "ph": 7.4,
    "total_alkalinity_mg_l": 100,
    "calcium_hardness_mg_l": 150,
    "total_dissolved_solids_mg_l": 800,
}
BICARBONATE = {"add": "sodium_bicarbonate", "mass_g": 115.4, "active_fraction": 1.0}


def run(command, text, *arguments):
    data = text if isinstance(text, bytes) else text.encode()
    return subprocess.run(
        [sys.executable, "-m", "service.chemistry", command, *arguments],
        input=data,
        capture_output=True,
        check=False,
        timeout=60,
    )


def predict(request):
    return run("predict", json.dumps(request))


def refusal(done):
    """The errors of a refused request: exit status 2, JSON on standard output, no traceback."""
    assert done.returncode == 2
    assert done.stderr == b""
    return {error["field"]: error["message"] for error in json.loads(done.stdout)["errors"]}


def request(**changes):
    return {"volume_l": 1250, "readings": READINGS, "steps": [BICARBONATE], **changes}


def step(**parts):
    return request(steps=[parts])


def test_predict_answers_with_the_contracts_keys_in_their_order():
    done = predict(request())
    answer = json.loads(done.stdout)

    assert done.returncode == 0
    assert done.stderr == b""
    assert list(answer) == ["before", "after", "assumed", "cautions"]
    assert list(answer["before"]) == FIGURES
    assert list(answer["after"]) == FIGURES


def test_predict_answers_a_stored_case_as_the_library_does():
    case = cases_file()["cases"][44]
    answer = json.loads(predict(case["request"]).stdout)

    assert answer["after"]["ph"] == pytest.approx(case["response"]["after"]["ph"], abs=0.0002)


def test_reading_given_as_an_object_counts_like_the_number():
    plain = json.loads(predict(request()).stdout)
    full = {**READINGS, "ph": {"value": 7.4, "plus_minus": 0.1, "method": "electrode"}}

    assert json.loads(predict(request(readings=full)).stdout) == plain


def test_text_that_is_not_ascii_is_understood_and_answered():
    done = run("predict", json.dumps({**request(), "note": "Gästehaus"}, ensure_ascii=False))

    assert done.returncode == 0


BAD_REQUESTS = {
    "missing pH": (
        request(readings={k: v for k, v in READINGS.items() if k != "ph"}),
        {"readings.ph": "pH is needed"},
    ),
    "pH 15": (request(readings={**READINGS, "ph": 15}), {"readings.ph": "pH must be from 0 to 14"}),
    "readings missing": (
        {"volume_l": 1250},
        {"readings": "Readings are needed: at least temperature, pH and total alkalinity"},
    ),
    "readings as text": (
        request(readings="pH 7.4"),
        {"readings": "Readings must be an object of names and values"},
    ),
    "a reading as text": (
        request(readings={**READINGS, "ph": "7.4"}),
        {"readings.ph": "pH must be a number from 0 to 14"},
    ),
    "volume missing": (
        {"readings": READINGS},
        {"volume_l": "Volume is needed: from 100 to 20000 L"},
    ),
    "negative volume": (request(volume_l=-5), {"volume_l": "Volume must be from 100 to 20000 L"}),
    "free above total chlorine": (
        request(readings={**READINGS, "free_chlorine_mg_l": 3, "total_chlorine_mg_l": 2}),
        {
            "readings.total_chlorine_mg_l": (
                "Total chlorine must be at least the free chlorine, 3 mg/L as Cl2: repeat both tests"
            )
        },
    ),
    "impossible alkalinity for the pH": (
        request(readings={**READINGS, "ph": 3.0}),
        {
            "readings.total_alkalinity_mg_l": (
                "Total alkalinity this high is impossible at this pH: the water would fizz. Retest both"
            )
        },
    ),
    "zero strength": (
        step(add="sodium_bicarbonate", mass_g=10, active_fraction=0),
        {"steps.0.active_fraction": "Active fraction must be above 0 and at most 1"},
    ),
    "negative mass": (
        step(add="sodium_bicarbonate", mass_g=-1),
        {"steps.0.mass_g": "Mass must be from 0 to 100000 g"},
    ),
    "mass missing": (
        step(add="sodium_bicarbonate"),
        {"steps.0.mass_g": "Mass is needed: from 0 to 100000 g"},
    ),
    "two things in one step": (
        step(add="sodium_bicarbonate", mass_g=1, oxidiser_used_up=True),
        {
            "steps.0": (
                "A step must do exactly one of add, replace_fraction, open_to_air_log10_pco2_atm, "
                "free_chlorine_used_mg_l, oxidiser_used_up, temperature_c"
            )
        },
    ),
    "nothing in a step": (
        step(),
        {
            "steps.0": (
                "A step must do exactly one of add, replace_fraction, open_to_air_log10_pco2_atm, "
                "free_chlorine_used_mg_l, oxidiser_used_up, temperature_c"
            )
        },
    ),
    "a misspelt part of a step": (
        step(add="sodium_bicarbonate", mass_g=1, active_fracton=0.5),
        {"steps.0.active_fracton": "Unknown part of a step that has add"},
    ),
    "a step that is no object": (
        request(steps=["shock"]),
        {
            "steps.0": (
                "A step must be an object with one of add, replace_fraction, open_to_air_log10_pco2_atm, "
                "free_chlorine_used_mg_l, oxidiser_used_up, temperature_c"
            )
        },
    ),
    "steps that are no list": (request(steps={"add": "trichlor"}), {"steps": "Steps must be a list"}),
    "fraction above one": (
        step(replace_fraction=1.2, fill=READINGS),
        {"steps.0.replace_fraction": "Replaced fraction must be from 0 to 1"},
    ),
    "no fill": (
        step(replace_fraction=0.5),
        {"steps.0.fill": "Readings are needed: at least temperature, pH and total alkalinity"},
    ),
    "fill without pH": (
        step(replace_fraction=0.5, fill={k: v for k, v in READINGS.items() if k != "ph"}),
        {"steps.0.fill.ph": "pH is needed"},
    ),
    "unknown ion": (
        request(background_mmol_l={"Fe": 1}),
        {"background_mmol_l.Fe": "Unknown ion; known are Na, K, Mg, Cl, SO4"},
    ),
    "negative ion": (
        request(background_mmol_l={"Na": -1}),
        {"background_mmol_l.Na": "Background ion must be from 0 to 1000 mmol/L"},
    ),
    "background as text": (
        request(background_mmol_l="soft"),
        {"background_mmol_l": "Background ions must be an object of Na, K, Mg, Cl, SO4 in mmol/L"},
    ),
    "air beyond reason": (
        step(open_to_air_log10_pco2_atm=2),
        {
            "steps.0.open_to_air_log10_pco2_atm": (
                "Carbon dioxide pressure of the air must be from -5 to 0 log10 atm"
            )
        },
    ),
    "boiling": (
        step(temperature_c=100),
        {"steps.0.temperature_c": "Water temperature must be from 0 to 45 °C"},
    ),
    "chlorine used as text": (
        step(free_chlorine_used_mg_l="some"),
        {"steps.0.free_chlorine_used_mg_l": ('Free chlorine used must be a number of mg/L as Cl2, or "all"')},
    ),
    "oxidiser used up or not": (
        step(oxidiser_used_up=False),
        {"steps.0.oxidiser_used_up": "Must be true; leave the step out otherwise"},
    ),
    "more acid than any pH from 2 to 12 holds": (
        request(steps=[BICARBONATE, {"add": "hydrochloric_acid", "mass_g": 99000}, BICARBONATE]),
        {
            "steps.1": (
                "The water would lie outside pH 2 to 12 (total alkalinity -108549 mg/L as CaCO3): "
                "check the amount and the volume"
            )
        },
    ),
}


@pytest.mark.parametrize(("bad", "errors"), BAD_REQUESTS.values(), ids=list(BAD_REQUESTS))
def test_bad_request_is_refused_at_its_field_with_limit_and_unit(bad, errors):
    assert refusal(predict(bad)) == errors


def test_unknown_substance_is_refused_with_the_list_of_known_ones():
    errors = refusal(predict(step(add="magic_powder", mass_g=10)))

    assert errors == {"steps.0.add": f"Unknown substance; known are {', '.join(SUBSTANCES)}"}


def test_every_fault_of_a_request_is_reported_at_once():
    bad = {
        "volume_l": 0,
        "readings": {**READINGS, "ph": 15},
        "background_mmol_l": {"Na": "salty"},
        "steps": [{"add": "x", "mass_g": 1}, {"temperature_c": -4}],
    }

    assert list(refusal(predict(bad))) == [
        "volume_l",
        "background_mmol_l.Na",
        "readings.ph",
        "steps.0.add",
        "steps.1.temperature_c",
    ]


BAD_TEXTS = {
    "nothing": ("", "The request must be a JSON object on standard input"),
    "blank": (" \n", "The request must be a JSON object on standard input"),
    "no JSON": ("pH 7.4", "Not valid JSON at line 1, column 1: Expecting value"),
    "half an object": ('{"volume_l": 1250,', None),
    "a list": ("[1, 2]", "The request must be an object with volume_l, readings and steps"),
    "null": ("null", "The request must be an object with volume_l, readings and steps"),
    "not UTF-8": (b'{"volume_l": "\xff\xfe"}', "The request must be JSON in UTF-8"),
    "a number of 5000 digits": (
        '{"volume_l": ' + "9" * 5000 + "}",
        "The request holds a number with far too many digits",
    ),
    "nested 100,000 deep": ("[" * 100_000, "The request is nested far too deeply"),
    "10 MB": (
        json.dumps({"volume_l": 1250, "note": "x" * 10_000_000}),
        "The request must be at most 1,000,000 bytes of JSON",
    ),
}


@pytest.mark.parametrize(("text", "message"), BAD_TEXTS.values(), ids=list(BAD_TEXTS))
def test_text_that_is_no_request_is_refused(text, message):
    errors = refusal(run("predict", text))

    assert list(errors) == ["request"]
    assert message is None or errors["request"] == message


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999", "1e400"])
def test_number_that_is_none_is_refused_at_its_field(number):
    text = json.dumps(request()).replace("7.4", number)

    assert refusal(run("predict", text)) == {"readings.ph": "pH must be a number from 0 to 14"}


@pytest.mark.parametrize("command", ["predict", "treat"])
def test_help_shows_a_request_and_every_substance(command):
    done = run(command, "", "--help")
    text = done.stdout.decode()

    assert done.returncode == 0
    assert '"volume_l": 1250' in text
    assert all(substance in text for substance in SUBSTANCES)


def test_help_names_the_three_commands_and_the_exit_status_of_bad_input():
    text = run("--help", "").stdout.decode()

    assert "predict" in text
    assert "treat" in text
    assert "guidelines" in text
    assert "exit status 2" in text


def test_unknown_command_is_refused():
    done = run("forecast", "{}")

    assert done.returncode == 2
    assert b"invalid choice" in done.stderr


def test_engine_needs_nothing_but_the_standard_library():
    """It also runs in the phone's browser, where nothing else is installed."""
    code = (
        "import sys; sys.path.insert(0, '.')\n"
        "import service.chemistry.predict, service.chemistry.table_index\n"
        "strange = {n.partition('.')[0] for n in sys.modules} - sys.stdlib_module_names - {'service'}\n"
        "print(sorted(n for n in strange if not n.startswith('__')))"
    )
    done = subprocess.run(
        [sys.executable, "-S", "-E", "-c", code], capture_output=True, check=False, text=True, timeout=60
    )

    assert (done.stdout.strip(), done.stderr) == ("[]", "")
