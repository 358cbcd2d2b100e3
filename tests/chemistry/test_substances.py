"""What each substance brings: charge, molar mass, exact ratios and the effects of a plain dose."""

import re
from collections import Counter

import pytest

from service.chemistry.equilibrium import solve
from service.chemistry.readings import parse_readings
from service.chemistry.steps import add, use_up_oxidiser
from service.chemistry.substances import SUBSTANCES
from service.chemistry.totals import Totals, Water
from service.chemistry.units import bromine_from_chlorine
from service.chemistry.water import describe, water_from_readings

CONTRACT = [
    "sodium_bicarbonate",
    "sodium_carbonate",
    "sodium_bisulfate",
    "hydrochloric_acid",
    "calcium_chloride_anhydrous",
    "calcium_chloride_dihydrate",
    "borax_decahydrate",
    "boric_acid",
    "sodium_hypochlorite",
    "calcium_hypochlorite",
    "lithium_hypochlorite",
    "dichlor_dihydrate",
    "dichlor_anhydrous",
    "trichlor",
    "bcdmh",
    "sodium_bromide",
    "potassium_monopersulfate",
    "sodium_thiosulfate_pentahydrate",
    "sodium_sulfite",
    "hydrogen_peroxide",
    "cyanuric_acid",
]

# CIAAW standard atomic weights (abridged), 2021.
ATOMIC_WEIGHTS = {
    "H": 1.008,
    "Li": 6.94,
    "B": 10.81,
    "C": 12.011,
    "N": 14.007,
    "O": 15.999,
    "Na": 22.990,
    "S": 32.06,
    "Cl": 35.45,
    "K": 39.098,
    "Ca": 40.078,
    "Br": 79.904,
}
FORMULAS = {
    "sodium_bicarbonate": "NaHCO3",
    "sodium_carbonate": "Na2CO3",
    "sodium_bisulfate": "NaHSO4",
    "hydrochloric_acid": "HCl",
    "calcium_chloride_anhydrous": "CaCl2",
    "calcium_chloride_dihydrate": "CaCl2 H4O2",
    "borax_decahydrate": "Na2B4O7 H20O10",
    "boric_acid": "H3BO3",
    "sodium_hypochlorite": "NaClO",
    "calcium_hypochlorite": "CaCl2O2",
    "lithium_hypochlorite": "LiClO",
    "dichlor_dihydrate": "NaCl2C3N3O3 H4O2",
    "dichlor_anhydrous": "NaCl2C3N3O3",
    "trichlor": "Cl3C3N3O3",
    "bcdmh": "C5H6BrClN2O2",
    "sodium_bromide": "NaBr",
    "potassium_monopersulfate": "K2H2S2O10 KHSO4 K2SO4",
    "sodium_thiosulfate_pentahydrate": "Na2S2O3 H10O5",
    "sodium_sulfite": "Na2SO3",
    "hydrogen_peroxide": "H2O2",
    "cyanuric_acid": "C3H3N3O3",
}
HYDRATES = {"calcium_chloride_dihydrate", "borax_decahydrate", "dichlor_dihydrate"} | {
    "sodium_thiosulfate_pentahydrate"
}
SPA = {
    "temperature_c": 38,
    "ph": 7.4,
    "total_alkalinity_mg_l": 100,
    "calcium_hardness_mg_l": 150,
    "total_dissolved_solids_mg_l": 800,
}


def weigh(formula):
    atoms = Counter()
    for symbol, count in re.findall(r"([A-Z][a-z]?)(\d*)", formula):
        atoms[symbol] += int(count or 1)
    return sum(ATOMIC_WEIGHTS[symbol] * count for symbol, count in atoms.items())


def test_every_substance_of_the_contract_is_there_and_no_other():
    assert list(SUBSTANCES) == CONTRACT
    assert all(substance.id == name for name, substance in SUBSTANCES.items())


@pytest.mark.parametrize("name", CONTRACT)
def test_molar_mass_follows_from_the_formula(name):
    assert SUBSTANCES[name].molar_mass_g_mol == pytest.approx(weigh(FORMULAS[name]), rel=3e-4)


@pytest.mark.parametrize("name", CONTRACT)
def test_dissolved_solids_leave_out_water_of_crystallisation(name):
    anhydrous = weigh(FORMULAS[name].split(" ")[0]) if name in HYDRATES else weigh(FORMULAS[name])

    assert SUBSTANCES[name].anhydrous_mass_share == pytest.approx(anhydrous / weigh(FORMULAS[name]), abs=3e-4)


@pytest.mark.parametrize("name", CONTRACT)
def test_strong_ions_of_a_substance_balance_its_alkalinity(name):
    substance = SUBSTANCES[name]

    assert Totals(**substance.adds).strong_ion_difference == pytest.approx(substance.alkalinity_eq)


# Per 10 g/m3 of pure substance at 38 °C, pH 7.4, TA 100, CH 150, TDS 800: change of TA, of pH, of free
# chlorine, then of TA and pH once the oxidiser is spent. Computed with an independent program and, for the
# isocyanurates, with PHREEQC (phreeqpython 1.6.2).
DOSE_TABLE = [
    ("sodium_bicarbonate", 5.96, 0.021, 0, None, None),
    ("sodium_carbonate", 9.44, 0.387, 0, None, None),
    ("sodium_bisulfate", -4.17, -0.214, 0, None, None),
    ("hydrochloric_acid", -13.73, -0.529, 0, None, None),
    ("calcium_chloride_anhydrous", 0, -0.002, 0, None, None),
    ("borax_decahydrate", 2.62, 0.174, 0, None, None),
    ("boric_acid", 0, -0.010, 0, None, None),
    ("sodium_hypochlorite", 6.72, 0.186, 9.52, 0, 0),
    ("calcium_hypochlorite", 7.00, 0.191, 9.92, 0, -0.001),
    ("lithium_hypochlorite", 8.57, 0.230, 12.14, 0, 0),
    ("dichlor_dihydrate", 1.95, -0.046, 5.54, -1.95, -0.183),
    ("dichlor_anhydrous", 2.28, -0.050, 6.45, -2.28, -0.21),
    ("trichlor", 0, -0.184, 9.15, -6.46, -0.358),
    ("bcdmh", 0, -0.067, 2.94, -4.14, -0.214),
    ("sodium_bromide", 0, 0, 0, None, None),
    ("potassium_monopersulfate", -0.81, -0.048, 0, -2.44, -0.134),
    ("cyanuric_acid", 0, -0.164, 0, None, None),
]


@pytest.mark.parametrize(
    ("name", "alkalinity", "ph", "chlorine", "spent_alkalinity", "spent_ph"),
    DOSE_TABLE,
    ids=[row[0] for row in DOSE_TABLE],
)
def test_dose_of_10_g_per_m3_has_the_tabled_effect(
    name, alkalinity, ph, chlorine, spent_alkalinity, spent_ph
):
    water, _ = water_from_readings(parse_readings(SPA))
    dosed = add(water, substance=name, mass_g=10, volume_l=1000)
    after = describe(dosed)

    assert after["total_alkalinity_mg_l"] - 100 == pytest.approx(alkalinity, abs=0.005)
    assert after["ph"] - 7.4 == pytest.approx(ph, abs=0.001)
    assert after["free_chlorine_mg_l"] == pytest.approx(chlorine, abs=0.005)
    if spent_alkalinity is not None:
        spent = describe(use_up_oxidiser(dosed))
        assert spent["total_alkalinity_mg_l"] - 100 == pytest.approx(spent_alkalinity, abs=0.005)
        assert spent["ph"] - 7.4 == pytest.approx(spent_ph, abs=0.003)


@pytest.mark.parametrize(
    ("name", "alkalinity", "ph", "chlorine"),
    [
        ("sodium_thiosulfate_pentahydrate", -8.47, -0.279, -8.0),
        ("sodium_sulfite", -3.97, -0.108, -5.63),
        ("hydrogen_peroxide", -5.65, -0.155, -8.0),
    ],
)
def test_neutraliser_of_10_g_per_m3_has_the_tabled_effect_on_8_mg_l_chlorine(name, alkalinity, ph, chlorine):
    water, _ = water_from_readings(parse_readings({**SPA, "free_chlorine_mg_l": 8}))
    after = describe(add(water, substance=name, mass_g=10, volume_l=1000))

    assert after["total_alkalinity_mg_l"] - 100 == pytest.approx(alkalinity, abs=0.005)
    assert after["ph"] - 7.4 == pytest.approx(ph, abs=0.001)
    assert after["free_chlorine_mg_l"] - 8 == pytest.approx(chlorine, abs=0.005)


# D3-D5: grams of pure substance per m3 and mg/L, from molar masses alone.
@pytest.mark.parametrize(
    ("name", "figure", "grams_per_m3_mg_l"),
    [
        ("sodium_bicarbonate", "total_alkalinity_mg_l", 84.007 / 50.0435),
        ("calcium_chloride_dihydrate", "calcium_hardness_mg_l", 147.01 / 100.087),
        ("calcium_chloride_anhydrous", "calcium_hardness_mg_l", 110.98 / 100.087),
        ("dichlor_dihydrate", "free_chlorine_mg_l", 255.98 / (2 * 70.906)),
        ("cyanuric_acid", "cyanuric_acid_mg_l", 1.0),
        ("borax_decahydrate", "borate_mg_l", 381.37 / (4 * 10.81)),
        ("sodium_bromide", "bromide_mg_l", 102.894 / 79.904),
    ],
)
def test_dose_is_the_exact_ratio_of_molar_masses(name, figure, grams_per_m3_mg_l):
    water = Water(Totals(alkalinity=0.002, dic=0.0021, na=0.002), 25.0, 150.0)
    before = describe(water)[figure]
    after = describe(add(water, substance=name, mass_g=10 * grams_per_m3_mg_l, volume_l=1000))[figure]

    assert after - before == pytest.approx(10, rel=0.001)


def test_chart_dose_of_bisulfate_is_five_per_cent_above_the_pure_ratio():
    """D1: 60,000 US gal, alkalinity 150 to 100: a training page's chart gives 2.1 x 5 x 6 = 63 lb.

    Its chart serves a product of about 95 %; the engine's pure bisulfate needs 60.1 lb.
    """
    water, _ = water_from_readings(parse_readings({**SPA, "total_alkalinity_mg_l": 150}))
    volume_l = 60_000 * 3.785411784
    after = add(water, substance="sodium_bisulfate", mass_g=60.07 * 453.59237, volume_l=volume_l)
    chart_lb = 2.1 * 5 * 6

    assert chart_lb == pytest.approx(63)
    assert describe(after)["total_alkalinity_mg_l"] == pytest.approx(100, abs=0.05)


def test_chart_dose_of_calcium_chloride_falls_short_of_the_rise_it_promises():
    """D2: 585,900 L, hardness +200: a training page's chart gives 402 x 14.6 x 20 = 117,384 g at 100 %.

    402 g for 10 mg/L in 40 m3 is the mass of CaCO3; CaCl2 must be 1.109 times that.
    """
    water, _ = water_from_readings(parse_readings(SPA))
    after = add(water, substance="calcium_chloride_anhydrous", mass_g=117_384, volume_l=585_900)
    chart_g = 402 * 14.6 * 20

    assert chart_g == pytest.approx(117_384)
    assert describe(after)["calcium_hardness_mg_l"] - 150 == pytest.approx(180.7, abs=0.1)


def test_cyanurate_that_comes_with_chlorine():
    """Per mg/L of chlorine, dichlor brings 0.910 and trichlor 0.607 mg/L cyanuric acid: 129.07 / n 70.906."""
    for name, chlorines, ratio in (("dichlor_dihydrate", 2, 0.910), ("trichlor", 3, 0.607)):
        dosed = describe(add(Water(Totals(na=0.001), 25.0, 0.0), substance=name, mass_g=10, volume_l=1000))

        assert dosed["cyanuric_acid_mg_l"] / dosed["free_chlorine_mg_l"] == pytest.approx(ratio, abs=0.001)
        assert 129.07 / (chlorines * 70.906) == pytest.approx(ratio, abs=0.001)


def test_bromine_and_chlorine_figures_of_one_pad_differ_by_the_ratio_of_molar_masses():
    """CIAAW 2021: Br2 159.808, Cl2 70.906."""
    assert bromine_from_chlorine(1.0) == pytest.approx(2 * 79.904 / (2 * 35.453), rel=1e-6)


@pytest.mark.parametrize(
    ("name", "alkalinity", "dic"),
    [("hydrochloric_acid", -1, 0), ("sodium_bisulfate", -1, 0), ("sodium_carbonate", 2, 1)],
)
@pytest.mark.parametrize("mmol", [0.1, 0.5, 1.0])
def test_acid_and_soda_ash_shift_alkalinity_by_their_equivalents(name, alkalinity, dic, mmol):
    """P1-P8: definition of alkalinity; one mole of acid takes one equivalent, soda ash gives two."""
    water, _ = water_from_readings(parse_readings(SPA))
    grams = mmol * SUBSTANCES[name].molar_mass_g_mol
    dosed = add(water, substance=name, mass_g=grams, volume_l=1000)

    assert (dosed.totals.alkalinity - water.totals.alkalinity) * 1000 == pytest.approx(
        alkalinity * mmol, abs=1e-4
    )
    assert solve(dosed).alkalinity == pytest.approx(dosed.totals.alkalinity, abs=1e-9)
    assert (dosed.totals.dic - water.totals.dic) * 1000 == pytest.approx(dic * mmol, abs=1e-4)
