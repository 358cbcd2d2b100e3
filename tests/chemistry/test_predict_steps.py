"""Each kind of step, with the reactions between oxidisers, bromide and neutralisers.

Amounts follow from the reaction written beside each; that they run at once and in this order is the
engine's documented choice.
"""

import pytest

from service.chemistry import steps
from service.chemistry.predict import predict
from service.chemistry.substances import SUBSTANCES
from service.chemistry.totals import Totals, Water

READINGS = {
    "temperature_c": 38,
    "ph": 7.5,
    "total_alkalinity_mg_l": 100,
    "calcium_hardness_mg_l": 150,
    "cyanuric_acid_mg_l": 0,
    "borate_mg_l": 0,
    "free_chlorine_mg_l": 0,
    "total_bromine_mg_l": 0,
    "bromide_mg_l": 0,
    "total_dissolved_solids_mg_l": 800,
}
FILL = {
    "temperature_c": 12,
    "ph": 7.8,
    "total_alkalinity_mg_l": 60,
    "calcium_hardness_mg_l": 80,
    "total_dissolved_solids_mg_l": 150,
}
SOLIDS = "total_dissolved_solids_mg_l"


def after(*given, **readings):
    request = {"volume_l": 1000, "readings": {**READINGS, **readings}, "steps": list(given)}
    return predict(request)["after"]


def moles(substance, mol, **totals):
    """A water of these totals, [mmol/L], after mol mmol/L of a substance."""
    water = Water(Totals(**{name: value / 1000 for name, value in totals.items()}), 25.0, 0.0)
    mass_g = mol * SUBSTANCES[substance].molar_mass_g_mol
    found = steps.add(water, substance=substance, mass_g=mass_g, volume_l=1000).totals
    return {name: pytest.approx(1000 * getattr(found, name), abs=1e-9) for name in ("alkalinity", *CHANGED)}


CHANGED = ("chlorine_i", "bromine_i", "br", "cl", "so4", "hso5", "thiosulfate", "peroxide")


def expect(**amounts):
    return {name: amounts.get(name, 0.0) for name in ("alkalinity", *CHANGED)}


def test_hypochlorite_turns_bromide_into_bromine_first():
    """HOCl + Br- = HOBr + Cl-; no change of alkalinity beyond the hypochlorite's own."""
    assert moles("sodium_hypochlorite", 0.3, br=0.2) == expect(
        alkalinity=0.3, chlorine_i=0.1, bromine_i=0.2, cl=0.2
    )


def test_monopersulfate_turns_bromide_into_bromine_and_the_rest_waits():
    """HSO5- + Br- = HOBr + SO4-2; two HSO5- a mole of triple salt, with two sulfates and -1 eq."""
    assert moles("potassium_monopersulfate", 0.3, br=0.2) == expect(
        alkalinity=-0.3, bromine_i=0.2, hso5=0.4, so4=0.8
    )


def test_monopersulfate_that_waited_meets_bromide_added_later():
    assert moles("sodium_bromide", 0.3, hso5=0.4) == expect(bromine_i=0.3, hso5=0.1, so4=0.3)


def test_free_chlorine_meets_bromide_before_monopersulfate_does():
    assert moles("sodium_bromide", 0.3, hso5=0.4, chlorine_i=0.2) == expect(
        bromine_i=0.3, hso5=0.3, so4=0.1, cl=0.2
    )


def test_hydantoin_tablet_gives_a_bromine_and_its_chlorine_frees_another_from_the_bank():
    """BCDMH gives one HOBr and one HOCl; the HOCl oxidises bromide where there is any."""
    assert moles("bcdmh", 0.1, br=0.06) == expect(bromine_i=0.16, chlorine_i=0.04, cl=0.06)
    assert moles("bcdmh", 0.1) == expect(bromine_i=0.1, chlorine_i=0.1)


def test_thiosulfate_takes_four_oxidants_and_leaves_six_acids():
    """S2O3-2 + 4 HOCl + H2O = 2 SO4-2 + 4 Cl- + 6 H+."""
    assert moles("sodium_thiosulfate_pentahydrate", 0.05, chlorine_i=0.3) == expect(
        alkalinity=-0.3, chlorine_i=0.1, cl=0.2, so4=0.1
    )


def test_thiosulfate_meets_chlorine_then_bromine_then_monopersulfate():
    found = moles("sodium_thiosulfate_pentahydrate", 0.1, chlorine_i=0.1, bromine_i=0.2, hso5=0.3)

    # 0.4 oxidants go: all chlorine, all bromine, 0.1 of HSO5-; what is left oxidises the freed bromide.
    assert found == expect(alkalinity=-0.6, cl=0.1, bromine_i=0.2, so4=0.5)


def test_thiosulfate_left_over_eats_the_next_chlorine():
    """0.1 mmol/L of leftover takes 0.4 mmol/L of chlorine, and the hypochlorite's 1 eq each stays."""
    assert moles("sodium_hypochlorite", 0.3, thiosulfate=0.1) == expect(
        alkalinity=0.3 - 0.45, cl=0.3, so4=0.15, thiosulfate=0.025
    )


def test_leftover_thiosulfate_does_not_take_part_in_plain_doses():
    assert moles("hydrochloric_acid", 0.1, thiosulfate=0.1) == expect(
        alkalinity=-0.1, cl=0.1, thiosulfate=0.1
    )


def test_sulfite_beyond_the_chlorine_becomes_sulfate():
    """SO3-2 + HOCl = SO4-2 + Cl- + H+; the rest meets dissolved oxygen, without acid."""
    assert moles("sodium_sulfite", 0.5, chlorine_i=0.2) == expect(alkalinity=-0.2, cl=0.2, so4=0.5)


def test_peroxide_takes_chlorine_one_to_one_and_the_rest_eats_later_chlorine():
    """H2O2 + HOCl = O2 + Cl- + H+ + H2O."""
    assert moles("hydrogen_peroxide", 0.5, chlorine_i=0.2) == expect(alkalinity=-0.2, cl=0.2, peroxide=0.3)
    assert moles("lithium_hypochlorite", 0.1, peroxide=0.3) == expect(cl=0.1, peroxide=0.2)


def test_spent_oxidiser_leaves_one_acid_each_and_peroxide_none():
    water = Water(Totals(chlorine_i=1e-4, bromine_i=2e-4, hso5=3e-4, peroxide=4e-4), 25.0, 0.0)
    spent = steps.use_up_oxidiser(water).totals

    assert spent.alkalinity == pytest.approx(-6e-4)
    assert (spent.cl, spent.br, spent.so4) == pytest.approx((1e-4, 2e-4, 3e-4))
    assert (spent.chlorine_i, spent.bromine_i, spent.hso5, spent.peroxide) == (0, 0, 0, 0)


def test_one_mg_l_of_chlorine_makes_2_254_of_bromine_from_1_127_of_bromide():
    """Molar masses: Br2 159.808, Br 79.904, Cl2 70.906 (CIAAW 2021)."""
    found = after({"add": "sodium_hypochlorite", "mass_g": 74.442 / 70.906}, bromide_mg_l=5)

    assert found["total_bromine_mg_l"] == pytest.approx(2.254, abs=0.001)
    assert found["bromide_mg_l"] == pytest.approx(5 - 1.127, abs=0.001)
    assert found["free_chlorine_mg_l"] == 0


def test_bromide_read_beside_chlorine_reacts_when_either_is_next_dosed_not_before():
    request = {
        "volume_l": 1000,
        "readings": {**READINGS, "free_chlorine_mg_l": 2, "bromide_mg_l": 10},
        "steps": [{"add": "sodium_bicarbonate", "mass_g": 20}],
    }

    assert predict(request)["after"]["free_chlorine_mg_l"] == 2
    request["steps"].append({"add": "sodium_hypochlorite", "mass_g": 0.1})
    assert predict(request)["after"]["free_chlorine_mg_l"] == 0


def test_chlorine_of_the_fill_meets_the_bromide_of_the_tub():
    fill = {**FILL, "free_chlorine_mg_l": 0.8}
    found = after({"replace_fraction": 0.5, "fill": fill}, bromide_mg_l=30)

    assert found["free_chlorine_mg_l"] == 0
    assert found["total_bromine_mg_l"] == pytest.approx(0.4 * 159.808 / 70.906, abs=1e-5)


def test_used_chlorine_is_at_most_what_there_is_and_says_so():
    request = {
        "volume_l": 1000,
        "readings": {**READINGS, "free_chlorine_mg_l": 2},
        "steps": [{"free_chlorine_used_mg_l": 3}],
    }
    answer = predict(request)

    assert answer["after"]["free_chlorine_mg_l"] == 0
    assert answer["assumed"] == ["steps.0.free_chlorine_used_mg_l"]


def test_all_chlorine_used_is_the_same_as_its_amount():
    by_word = after({"free_chlorine_used_mg_l": "all"}, free_chlorine_mg_l=4)

    assert by_word == after({"free_chlorine_used_mg_l": 4}, free_chlorine_mg_l=4)
    assert by_word["total_alkalinity_mg_l"] == pytest.approx(100 - 4 / 70.906 * 50.0435, abs=1e-4)


def test_strength_counts_the_substance_as_named_and_the_rest_as_water():
    full = after({"add": "calcium_chloride_dihydrate", "mass_g": 77})
    weak = after({"add": "calcium_chloride_dihydrate", "mass_g": 100, "active_fraction": 0.77})

    assert weak == full
    assert full[SOLIDS] == pytest.approx(800 + 77 * 110.98 / 147.01, abs=0.001)


def test_replacement_without_a_temperature_is_as_warm_as_the_mixture():
    assert after({"replace_fraction": 0.25, "fill": FILL})["temperature_c"] == pytest.approx(31.5)
    assert after({"replace_fraction": 0.25, "fill": FILL, "temperature_c": 36})["temperature_c"] == 36


def test_replacement_mixes_solids_hardness_and_alkalinity_by_fraction():
    found = after({"replace_fraction": 0.6, "fill": FILL, "temperature_c": 38})

    assert found[SOLIDS] == pytest.approx(0.4 * 800 + 0.6 * 150)
    assert found["calcium_hardness_mg_l"] == pytest.approx(0.4 * 150 + 0.6 * 80)
    assert found["total_alkalinity_mg_l"] == pytest.approx(0.4 * 100 + 0.6 * 60)


def test_fill_background_reaches_the_mixture():
    ions = {"Na": 1, "K": 0.1, "Mg": 0.4, "Cl": 0.7, "SO4": 1.5}
    plain = after({"replace_fraction": 0.9, "fill": FILL, "temperature_c": 38})
    sulfate = after(
        {"replace_fraction": 0.9, "fill": FILL, "fill_background_mmol_l": ions, "temperature_c": 38}
    )

    assert sulfate["saturation_index"] < plain["saturation_index"] - 0.02


def test_replacing_nothing_still_sets_the_temperature_that_is_given():
    found = after({"replace_fraction": 0, "fill": FILL, "temperature_c": 30})

    assert found == after({"temperature_c": 30})


def test_fill_with_unread_pieces_names_them_and_leaves_them_unknown():
    fill = {"temperature_c": 12, "ph": 7.8, "total_alkalinity_mg_l": 60}
    request = {
        "volume_l": 1000,
        "readings": READINGS,
        "steps": [{"replace_fraction": 0.5, "fill": fill, "fill_background_mmol_l": {"Na": 1}}],
    }
    answer = predict(request)

    assert answer["assumed"] == [
        "steps.0.fill.cyanuric_acid_mg_l",
        "steps.0.fill.borate_mg_l",
        "steps.0.fill.free_chlorine_mg_l",
        "steps.0.fill.total_bromine_mg_l",
        "steps.0.fill.bromide_mg_l",
        "steps.0.fill.calcium_hardness_mg_l",
        "steps.0.fill.total_dissolved_solids_mg_l",
        "steps.0.fill_background_mmol_l.K",
        "steps.0.fill_background_mmol_l.Mg",
        "steps.0.fill_background_mmol_l.Cl",
        "steps.0.fill_background_mmol_l.SO4",
    ]
    assert answer["after"]["calcium_hardness_mg_l"] is None
    assert answer["after"]["saturation_index"] is None
    assert answer["after"][SOLIDS] is None
    assert answer["before"][SOLIDS] == 800


def test_steps_are_applied_in_their_order():
    air = {"open_to_air_log10_pco2_atm": -3.38}
    acid = {"add": "hydrochloric_acid", "mass_g": 20}

    assert after(air, acid)["ph"] < after(acid, air)["ph"] - 0.1


def test_sulfate_reading_lowers_the_saturation_index():
    assert after(sulfate_mg_l=200)["saturation_index"] < after()["saturation_index"] - 0.03


def test_doses_carry_the_usual_caution_and_scaling_water_another():
    label = (
        "The product label and local code come first; these figures assume the stated volume and strength."
    )
    scaling = (
        "The saturation index is above 0.5: if scale forms, pH, alkalinity and hardness end lower than this."
    )

    def cautions(*given, **readings):
        request = {"volume_l": 1000, "readings": {**READINGS, **readings}, "steps": list(given)}
        return predict(request)["cautions"]

    assert cautions() == []
    assert cautions({"add": "sodium_bicarbonate", "mass_g": 20}) == [label]
    assert cautions({"add": "sodium_carbonate", "mass_g": 80}) == [label, scaling]
    assert cautions(ph=8.4) == [scaling]


def test_dissolved_solids_below_what_the_other_readings_add_up_to_are_named():
    request = {"volume_l": 1000, "readings": {**READINGS, SOLIDS: 150}}
    answer = predict(request)

    assert answer["assumed"] == [SOLIDS]
    assert answer["before"][SOLIDS] == 150
