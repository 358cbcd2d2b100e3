"""Random waters and steps for comparisons, drawn with a generator the test seeds."""

from __future__ import annotations

from random import Random
from typing import Any

from tests.chemistry.phreeqc_reference import REACTANTS

SUBSTANCES = tuple(REACTANTS)
# The largest dose drawn, g per m3: well above any that is right, and short of leaving pH 5 to 10 often.
LARGEST_DOSE = {
    "sodium_carbonate": 40,
    "sodium_bisulfate": 40,
    "hydrochloric_acid": 12,
    "borax_decahydrate": 150,
    "sodium_bicarbonate": 150,
    "calcium_chloride_anhydrous": 150,
    "calcium_chloride_dihydrate": 200,
    "boric_acid": 200,
    "sodium_bromide": 60,
    "cyanuric_acid": 60,
}
OTHERWISE = 15
STEPS = ("add", "add", "add", "add", "replace", "air", "temperature", "used", "used_up")


def random_readings(random: Random) -> dict[str, float]:
    """Readings of a spa: chlorine or bromine, sometimes borate, sometimes cyanurate."""
    readings: dict[str, float] = {
        "temperature_c": round(random.uniform(10, 42), 1),
        "ph": round(random.uniform(6.5, 8.6), 2),
        "total_alkalinity_mg_l": round(random.uniform(20, 250)),
        "calcium_hardness_mg_l": round(random.uniform(20, 500)),
        "cyanuric_acid_mg_l": random.choice([0, 0, round(random.uniform(5, 120))]),
        "borate_mg_l": random.choice([0, 0, round(random.uniform(5, 60))]),
        "free_chlorine_mg_l": 0,
        "total_bromine_mg_l": 0,
        "bromide_mg_l": 0,
        "total_dissolved_solids_mg_l": round(random.uniform(150, 3000)),
    }
    if random.random() < 0.5:
        readings["free_chlorine_mg_l"] = random.choice([0, round(random.uniform(0, 15), 1)])
    else:
        readings["total_bromine_mg_l"] = round(random.uniform(0, 15), 1)
        readings["bromide_mg_l"] = random.choice([0, round(random.uniform(0, 60))])
    readings["total_chlorine_mg_l"] = readings["free_chlorine_mg_l"]
    return readings


def random_background(random: Random, *, most_sulfate: float = 4.0) -> dict[str, float]:
    """Ions of a supply, mmol/L."""
    return {
        "Na": round(random.uniform(0, 12), 3),
        "K": round(random.uniform(0, 0.5), 3),
        "Mg": round(random.uniform(0, 1.5), 3),
        "Cl": round(random.uniform(0, 12), 3),
        "SO4": round(random.uniform(0, most_sulfate), 3),
    }


def random_fill(random: Random) -> dict[str, float]:
    """Readings of a supply water."""
    chlorine = random.choice([0, round(random.uniform(0, 0.8), 1)])
    return {
        "temperature_c": round(random.uniform(6, 22), 1),
        "ph": round(random.uniform(6.6, 8.4), 2),
        "total_alkalinity_mg_l": round(random.uniform(20, 250)),
        "calcium_hardness_mg_l": round(random.uniform(10, 400)),
        "cyanuric_acid_mg_l": 0,
        "borate_mg_l": 0,
        "free_chlorine_mg_l": chlorine,
        "total_chlorine_mg_l": chlorine,
        "total_bromine_mg_l": 0,
        "bromide_mg_l": 0,
        "total_dissolved_solids_mg_l": round(random.uniform(60, 600)),
    }


def random_dose(random: Random, volume_l: float, substance: str | None = None) -> dict[str, Any]:
    """An addition of one of the 21 substances."""
    chosen = substance or random.choice(SUBSTANCES)
    largest = LARGEST_DOSE.get(chosen, OTHERWISE)
    return {
        "add": chosen,
        "mass_g": round(random.uniform(0.02, 1) * largest * volume_l / 1000, 1),
        "active_fraction": random.choice([1.0, 0.99, 0.93, 0.65, 0.3145]),
    }


def random_step(random: Random, volume_l: float) -> dict[str, Any]:
    """A step of any kind."""
    kind = random.choice(STEPS)
    if kind == "add":
        return random_dose(random, volume_l)
    if kind == "replace":
        step = {
            "replace_fraction": round(random.uniform(0.05, 0.95), 2),
            "fill": random_fill(random),
            "temperature_c": round(random.uniform(12, 40), 1),
        }
        if random.random() < 0.5:
            step["fill_background_mmol_l"] = random_background(random, most_sulfate=1)
        if random.random() < 0.3:
            del step["temperature_c"]
        return step
    if kind == "air":
        return {"open_to_air_log10_pco2_atm": round(random.uniform(-3.5, -2.5), 2)}
    if kind == "temperature":
        return {"temperature_c": round(random.uniform(8, 42), 1)}
    if kind == "used":
        return {"free_chlorine_used_mg_l": random.choice(["all", round(random.uniform(0, 6), 1)])}
    return {"oxidiser_used_up": True}


def random_request(random: Random, *, background_known: bool | None = None) -> dict[str, Any]:
    """A predict request with one to three steps of any kind."""
    volume_l = random.randint(700, 2500)
    request: dict[str, Any] = {"volume_l": volume_l, "readings": random_readings(random)}
    known = random.random() < 0.5 if background_known is None else background_known
    if known:
        request["background_mmol_l"] = random_background(random)
    request["steps"] = [random_step(random, volume_l) for _ in range(random.randint(1, 3))]
    return request
