"""What must hold for any water and any dose, whatever the constants."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from service.chemistry import steps, units
from service.chemistry.equilibrium import solve, solve_at_pco2
from service.chemistry.errors import InputError
from service.chemistry.predict import predict
from service.chemistry.readings import parse_readings
from service.chemistry.substances import SUBSTANCES
from service.chemistry.totals import TOTALS
from service.chemistry.water import describe, water_from_readings

# Elements that no reaction makes or destroys, as (total, atoms) pairs.
CONSERVED = {
    "chlorine": (("cl", 1), ("chlorine_i", 1)),
    "bromine": (("br", 1), ("bromine_i", 1)),
    "sulfur": (("so4", 1), ("hso5", 1), ("thiosulfate", 2)),
    "cyanurate": (("cyanurate", 1),),
    "borate": (("borate", 1),),
    "sodium": (("na", 1),),
    "potassium": (("k", 1),),
    "calcium": (("ca", 1),),
    "carbon": (("dic", 1),),
    "hydantoin": (("dmh", 1),),
}
PLAIN = [
    "sodium_bicarbonate",
    "sodium_carbonate",
    "hydrochloric_acid",
    "calcium_chloride_dihydrate",
    "boric_acid",
]
ACIDS = ["hydrochloric_acid", "sodium_bisulfate"]
BASES = ["sodium_carbonate", "borax_decahydrate"]


@st.composite
def readings(draw):
    """Readings of a chlorine or bromine spa, as numbers."""
    bromine = draw(st.booleans())
    return {
        "temperature_c": draw(st.floats(5, 42)),
        "ph": draw(st.floats(6.8, 8.4)),
        "total_alkalinity_mg_l": draw(st.floats(90, 250)),
        "calcium_hardness_mg_l": draw(st.floats(20, 500)),
        "cyanuric_acid_mg_l": draw(st.floats(0, 60)),
        "borate_mg_l": draw(st.floats(0, 50)),
        "free_chlorine_mg_l": 0 if bromine else draw(st.floats(0, 15)),
        "total_bromine_mg_l": draw(st.floats(0, 15)) if bromine else 0,
        "bromide_mg_l": draw(st.floats(0, 60)) if bromine else 0,
        "total_dissolved_solids_mg_l": draw(st.floats(150, 3000)),
    }


waters = readings().map(lambda given: water_from_readings(parse_readings(given))[0])
doses = st.tuples(st.sampled_from(sorted(SUBSTANCES)), st.floats(0.1, 40))
grams_per_m3 = st.floats(0.5, 30)


def dosed(water, substance, mass_g, volume_l=1000.0):
    return steps.add(water, substance=substance, mass_g=mass_g, volume_l=volume_l)


def ph_of(water):
    """The pH, or a skipped example where the dose was beyond any tub."""
    try:
        return solve(water).ph
    except InputError:
        assume(False)


def amount(water, element):
    return sum(atoms * getattr(water.totals, name) for name, atoms in CONSERVED[element])


def assert_same_water(one, other):
    for name in TOTALS:
        assert getattr(one.totals, name) == pytest.approx(getattr(other.totals, name), rel=1e-9, abs=1e-12)
    assert one.temperature_c == pytest.approx(other.temperature_c)
    assert one.total_dissolved_solids_mg_l == pytest.approx(other.total_dissolved_solids_mg_l)


@given(waters, doses)
def test_a_dose_adds_its_elements_and_nothing_else(water, dose):
    substance, mass_g = dose
    row = SUBSTANCES[substance]
    after = dosed(water, substance, mass_g)
    mol_l = mass_g / 1000 / row.molar_mass_g_mol

    for element, parts in CONSERVED.items():
        added = mol_l * sum(atoms * row.adds.get(name, 0) for name, atoms in parts)
        assert amount(after, element) - amount(water, element) == pytest.approx(added, abs=1e-12)


@given(waters, st.lists(doses, max_size=4), st.floats(0, 5))
def test_charge_stays_balanced_through_doses_use_and_spending(water, given_doses, used):
    for substance, mass_g in given_doses:
        water = dosed(water, substance, mass_g)
        assert water.totals.strong_ion_difference == pytest.approx(water.totals.alkalinity, abs=1e-12)
    water = steps.use_up_oxidiser(steps.use_free_chlorine(water, free_chlorine_mg_l=used))

    assert water.totals.strong_ion_difference == pytest.approx(water.totals.alkalinity, abs=1e-12)
    assert (water.totals.chlorine_i, water.totals.bromine_i, water.totals.hso5) == (0, 0, 0)


@given(waters, doses, st.floats(0, 6))
def test_spent_oxidiser_conserves_every_element(water, dose, used):
    before = dosed(water, *dose)
    after = steps.use_up_oxidiser(steps.use_free_chlorine(before, free_chlorine_mg_l=used))

    for element in CONSERVED:
        assert amount(after, element) == pytest.approx(amount(before, element), abs=1e-12)


@given(waters, st.sampled_from(ACIDS), grams_per_m3)
def test_acid_lowers_ph(water, acid, mass_g):
    assert ph_of(dosed(water, acid, mass_g)) < ph_of(water)


@given(waters, st.sampled_from(ACIDS), grams_per_m3)
def test_more_acid_lowers_ph_further(water, acid, mass_g):
    assert ph_of(dosed(water, acid, 1.1 * mass_g)) < ph_of(dosed(water, acid, mass_g))


@given(waters, st.sampled_from(BASES), grams_per_m3)
def test_base_raises_ph(water, base, mass_g):
    assert ph_of(dosed(water, base, mass_g)) > ph_of(water)


@given(readings(), grams_per_m3)
def test_bicarbonate_raises_a_ph_that_lies_below_its_own(given_readings, mass_g):
    """Its own is about 8 in spa water; above that it lowers the pH."""
    low = {**given_readings, "ph": given_readings["ph"] - 0.9}
    water = water_from_readings(parse_readings(low))[0]

    assert ph_of(dosed(water, "sodium_bicarbonate", mass_g)) > ph_of(water)


@given(waters, doses)
def test_two_half_doses_make_one(water, dose):
    substance, mass_g = dose

    twice = dosed(dosed(water, substance, mass_g / 2), substance, mass_g / 2)

    assert_same_water(twice, dosed(water, substance, mass_g))


@given(waters, st.permutations(PLAIN), grams_per_m3)
def test_order_of_plain_doses_does_not_matter(water, order, mass_g):
    one, other = water, water
    for substance in PLAIN:
        one = dosed(one, substance, mass_g)
    for substance in order:
        other = dosed(other, substance, mass_g)

    assert_same_water(one, other)


@given(waters, doses)
def test_twice_the_water_and_twice_the_mass_change_nothing(water, dose):
    substance, mass_g = dose

    assert_same_water(dosed(water, substance, 2 * mass_g, 2000.0), dosed(water, substance, mass_g, 1000.0))


@given(waters, waters)
def test_replacing_nothing_keeps_the_water_and_replacing_all_gives_the_fill(water, fill):
    assert steps.replace(water, fraction=0, fill=fill) == water
    assert steps.replace(water, fraction=1, fill=fill) == fill
    assert steps.replace(water, fraction=1, fill=fill, temperature_c=37.0).temperature_c == 37.0


@given(waters, waters, st.floats(0.01, 0.99))
def test_replacing_mixes_what_does_not_react(water, fill, fraction):
    mixed = steps.replace(water, fraction=fraction, fill=fill)

    for element in CONSERVED:
        expected = (1 - fraction) * amount(water, element) + fraction * amount(fill, element)
        assert amount(mixed, element) == pytest.approx(expected, abs=1e-12)


@given(waters, grams_per_m3)
def test_bicarbonate_is_undone_by_its_acid_and_the_carbon_dioxide_leaving(water, mass_g):
    """HCO3- + H+ = CO2 + H2O: equal moles of acid, then the air at the pressure there was before."""
    before = solve(water)
    mol = mass_g / SUBSTANCES["sodium_bicarbonate"].molar_mass_g_mol
    acid_g = mol * SUBSTANCES["hydrochloric_acid"].molar_mass_g_mol
    back = dosed(dosed(water, "sodium_bicarbonate", mass_g), "hydrochloric_acid", acid_g)
    aired = solve_at_pco2(back, log10_pco2_atm=before.log10_pco2_atm)

    # A little salt stays behind and strengthens the water.
    assert aired.ph == pytest.approx(before.ph, abs=0.02)
    assert aired.totals.alkalinity == pytest.approx(water.totals.alkalinity, abs=1e-12)


@given(waters, st.floats(5, 150))
def test_calcium_chloride_is_undone_by_diluting_with_the_water_there_was(water, mass_g):
    harder = dosed(water, "calcium_chloride_dihydrate", mass_g)
    halved = steps.replace(harder, fraction=0.5, fill=water)

    assert halved.totals.ca - water.totals.ca == pytest.approx(0.5 * (harder.totals.ca - water.totals.ca))


@given(waters, st.floats(5, 42))
def test_heating_and_cooling_back_gives_the_same_water(water, temperature_c):
    warmer = steps.change_temperature(water, temperature_c=temperature_c)
    back = steps.change_temperature(warmer, temperature_c=water.temperature_c)

    assert back == water
    assert warmer.totals == water.totals


@given(waters, st.floats(-3.6, -2.5))
def test_open_water_keeps_its_alkalinity_and_takes_the_pressure_of_the_air(water, pressure):
    aired = steps.open_to_air(water, log10_pco2_atm=pressure)

    assert aired.totals.alkalinity == water.totals.alkalinity
    assert describe(aired)["log10_pco2_atm"] == pytest.approx(pressure, abs=1e-6)


@given(waters, st.floats(-3.6, -2.5), st.floats(0.05, 0.5))
def test_more_carbon_dioxide_in_the_air_gives_a_lower_ph(water, pressure, more):
    low, high = (steps.open_to_air(water, log10_pco2_atm=p) for p in (pressure, pressure + more))

    assert ph_of(high) < ph_of(low)


@given(readings(), st.sampled_from(PLAIN), st.floats(1, 200))
def test_gallons_fahrenheit_and_ounces_give_the_same_water(given_readings, substance, mass_g):
    """1 US gal = 3.785411784 L, 1 oz = 28.349523125 g (NIST SP 811); mg/L is ppm at one kilogram a litre."""
    metric = {
        "volume_l": 1250.0,
        "readings": given_readings,
        "steps": [{"add": substance, "mass_g": mass_g}],
    }
    fahrenheit = units.fahrenheit_from_celsius(given_readings["temperature_c"])
    american = {
        "volume_l": units.litres_from_us_gallons(1250.0 / 3.785411784),
        "readings": {**given_readings, "temperature_c": units.celsius_from_fahrenheit(fahrenheit)},
        "steps": [{"add": substance, "mass_g": units.grams_from_ounces(mass_g / 28.349523125)}],
    }

    for moment in ("before", "after"):
        assert predict(american)[moment] == pytest.approx(predict(metric)[moment], abs=1e-5)


@given(readings())
def test_no_steps_leave_the_water_as_it_was_read(given_readings):
    answer = predict({"volume_l": 1000, "readings": given_readings})

    assert answer["before"] == answer["after"]
    for name, value in given_readings.items():
        assert answer["before"][name] == pytest.approx(value, abs=1e-6)
