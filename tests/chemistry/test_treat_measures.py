"""Doses as a technician measures them; unit factors exact by definition (NIST SP 811, 2008, appendix B.8)."""

import pytest

from service.chemistry.treatment.measures import measure, portions
from service.chemistry.treatment.products import Product
from service.chemistry.treatment.treat import treat
from tests.chemistry.treatment_waters import kit

POWDER = Product("p", "sodium_bicarbonate", 0.99, "granules")
LIQUID = Product("l", "sodium_hypochlorite", 0.125, "liquid", density_g_ml=1.2)
TABLET = Product("t", "sodium_bisulfate", 1.0, "tablet", unit_mass_g=20.0)


def metric(product, grams, *, fine=False):
    return measure(product, grams, us_units=False, fine=fine)


@pytest.mark.parametrize(
    ("grams", "shown"),
    [(112.4, "112 g"), (1999.6, "2 kg"), (3333, "3.335 kg")],
)
def test_powder_is_rounded_to_what_a_kitchen_scale_shows(grams, shown):
    assert metric(POWDER, grams).text.startswith(shown)


def test_a_small_dose_asks_for_a_pocket_scale():
    assert metric(POWDER, 3.44, fine=True).mass_g == 3.4


@pytest.mark.parametrize(("grams", "millilitres"), [(60.5, 50.0), (150, 125.0), (243, 200.0), (800, 670.0)])
def test_liquid_is_poured_in_what_a_jug_shows(grams, millilitres):
    told = metric(LIQUID, grams)

    assert told.volume_ml == millilitres
    assert told.mass_g == pytest.approx(millilitres * 1.2)


def test_tablets_are_whole():
    assert (metric(TABLET, 69).units, metric(TABLET, 69).mass_g) == (3, 60.0)


def test_us_units_are_ounces_and_fluid_ounces():
    ounces = measure(POWDER, 113.4, us_units=True, fine=False)
    fluid = measure(LIQUID, 1.2 * 29.5735295625 * 4.1, us_units=True, fine=False)

    assert (ounces.text[:4], ounces.mass_g) == ("4 oz", pytest.approx(4 * 28.349523125, abs=0.01))
    assert (fluid.text, fluid.volume_ml) == ("4 fl oz", pytest.approx(4 * 29.5735295625, abs=0.01))


def test_pounds_stand_before_ounces():
    assert measure(POWDER, 28.349523125 * 35, us_units=True, fine=False).text.startswith("2 lb 3 oz")


def test_a_dose_is_cut_into_equal_measurable_parts():
    assert portions(100, 3, 1.0) == [34.0, 33.0, 33.0]


def test_the_effect_is_worked_out_for_the_rounded_dose():
    request = {
        "volume_l": 1250,
        "sanitiser": "chlorine",
        "guideline": "dc_25c",
        "readings": {
            "temperature_c": 37,
            "ph": 7.5,
            "total_alkalinity_mg_l": 100,
            "calcium_hardness_mg_l": 200,
            "free_chlorine_mg_l": 1.0,
        },
        "products": kit("calcium_hypochlorite"),
    }
    answer = treat(request)
    (dose, _) = answer["treatment"]

    # 1 g of Ca(OCl)2 brings 2 x 70.906 / 142.98 g of chlorine (molar masses, CIAAW 2021).
    brought = dose["mass_g"] * 0.98 * 2 * 70.906 / 142.98 / 1.25
    assert dose["mass_g"] == round(dose["mass_g"])
    assert answer["expected"]["free_chlorine_mg_l"] == pytest.approx(1.0 + brought, abs=0.001)
