"""Bad requests: each a clear error at its field, with the limit and unit, never a traceback."""

import json
import subprocess
import sys

import pytest

from service.chemistry.errors import InputError
from service.chemistry.treatment.treat import treat
from tests.chemistry.treatment_waters import kit


def good(**changes):
    request = {
        "volume_l": 1250,
        "sanitiser": "chlorine",
        "guideline": "dc_25c",
        "setting": "indoor",
        "readings": {
            "temperature_c": 37,
            "ph": 7.5,
            "total_alkalinity_mg_l": 100,
            "calcium_hardness_mg_l": 200,
            "free_chlorine_mg_l": 4.0,
        },
        "products": kit("calcium_hypochlorite", "sodium_bisulfate"),
    }
    return request | changes


def with_reading(**readings):
    return good(readings=good()["readings"] | readings)


def with_product(**changes):
    return good(products=[{**kit("sodium_bisulfate")[0], **changes}])


BAD = {
    "no volume": (good(volume_l=None), "volume_l", "100 to 20000 L"),
    "negative volume": (good(volume_l=-5), "volume_l", "100 to 20000 L"),
    "volume as text": (good(volume_l="big"), "volume_l", "100 to 20000 L"),
    "infinite volume": (good(volume_l=float("inf")), "volume_l", "100 to 20000 L"),
    "no pH": (good(readings={"free_chlorine_mg_l": 3}), "readings.ph", "pH is needed"),
    "pH null": (with_reading(ph=None), "readings.ph", "pH is needed"),
    "pH 15": (with_reading(ph=15), "readings.ph", "0 to 14"),
    "pH as text": (with_reading(ph="7.4"), "readings.ph", "0 to 14"),
    "pH not a number": (with_reading(ph=float("nan")), "readings.ph", "0 to 14"),
    "readings as text": (good(readings="fine"), "readings", "object"),
    "free above total": (
        with_reading(total_chlorine_mg_l=2),
        "readings.total_chlorine_mg_l",
        "free chlorine",
    ),
    "impossible alkalinity": (
        with_reading(ph=5.0, total_alkalinity_mg_l=1000),
        "readings.total_alkalinity_mg_l",
        "impossible at this pH",
    ),
    "less alkalinity than cyanurate holds": (
        with_reading(ph=8.0, total_alkalinity_mg_l=20, cyanuric_acid_mg_l=150),
        "readings.total_alkalinity_mg_l",
        "mg/L",
    ),
    "unknown guideline": (good(guideline="atlantis"), "guideline", "dc_25c"),
    "no guideline": (good(guideline=None), "guideline", "id of a shipped set"),
    "set without a row for the sanitiser": (
        good(guideline="victoria_phw_2019", sanitiser="bromine", products=[]),
        "guideline",
        "bromine",
    ),
    "unknown sanitiser": (good(sanitiser="salt"), "sanitiser", "chlorine, bromine, other"),
    "unknown substance": (with_product(substance="magic"), "products.0.substance", "no known substance"),
    "0 % strength": (with_product(active_fraction=0), "products.0.active_fraction", "above 0"),
    "120 % strength": (with_product(active_fraction=1.2), "products.0.active_fraction", "at most 1"),
    "strength as text": (with_product(active_fraction="strong"), "products.0.active_fraction", "above 0"),
    "liquid of no known strength": (
        good(products=[{"id": "c", "substance": "sodium_hypochlorite"}]),
        "products.0.active_fraction",
        "strength",
    ),
    "tablet of no known mass": (with_product(form="tablet"), "products.0.unit_mass_g", "grams"),
    "unknown form": (with_product(form="foam"), "products.0.form", "granules, liquid, tablet"),
    "a bromine product in a chlorine spa": (
        good(products=kit("bcdmh")),
        "products.0.substance",
        "never meet",
    ),
    "one id twice": (
        good(products=kit("sodium_bisulfate", "sodium_bisulfate")),
        "products.1.id",
        "twice",
    ),
    "a name that is no text": (
        good(products=[kit("sodium_bisulfate")[0] | {"name": 7}]),
        "products.0.name",
        "text",
    ),
    "products as text": (good(products="all"), "products", "list"),
    "unknown hold": (good(holds=["gremlins"]), "holds.0", "fouling"),
    "unknown shell": (good(shell="gold"), "shell", "acrylic"),
    "unknown setting": (good(setting="space"), "setting", "indoor, outdoor"),
    "unknown units": (good(units="imperial"), "units", "metric, us"),
    "bathers as text": (good(bathers_expected="many"), "bathers_expected", "people"),
    "recent without mass": (good(recent=[{"add": "bcdmh"}]), "recent.0.mass_g", "0 g"),
    "recent at no time": (
        good(recent=[{"add": "bcdmh", "mass_g": 20, "at": "yesterday"}]),
        "recent.0.at",
        "2026",
    ),
    "unknown question of the inspection": (good(inspection={"vibes": False}), "inspection.vibes", "clarity"),
}


@pytest.mark.parametrize(("request_", "field", "words"), BAD.values(), ids=BAD.keys())
def test_a_bad_request_names_its_field_and_limit(request_, field, words):
    with pytest.raises(InputError) as refused:
        treat(request_)

    errors = {error.field: error.message for error in refused.value.errors}
    assert field in errors
    assert words in errors[field]


def test_every_fault_is_named_at_once():
    with pytest.raises(InputError) as refused:
        treat(good(volume_l=3, shell="gold", holds=["gremlins"], readings={"ph": 99}))

    assert {error.field for error in refused.value.errors} == {
        "volume_l",
        "shell",
        "holds.0",
        "readings.ph",
    }


@pytest.mark.parametrize("request_", [None, [], "water", 7, {}])
def test_what_is_no_request_is_refused(request_):
    with pytest.raises(InputError):
        treat(request_)


def test_the_command_line_answers_a_bad_request_with_exit_status_two():
    run = subprocess.run(
        [sys.executable, "-m", "service.chemistry", "treat"],
        input=json.dumps(good(volume_l=-5)),
        capture_output=True,
        text=True,
        check=False,
    )

    assert run.returncode == 2
    assert json.loads(run.stdout)["errors"] == [
        {"field": "volume_l", "message": "Volume must be from 100 to 20000 L"}
    ]
    assert run.stderr == ""
