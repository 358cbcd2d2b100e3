"""Random requests for `treat`: waters, kits of products, guideline sets, drawn with a seeded generator.

Ranges: pH 6.6-8.4, total alkalinity 25-240, hardness 20-480, free chlorine or bromine 0-15, bromide 0-40,
cyanuric acid to 90 mg/L; one water in six has a halogen of 15 to 60 or cyanuric acid to 200.
"""

from __future__ import annotations

from random import Random
from typing import Any

SETS = {
    "chlorine": (
        "dc_25c",
        "new_york_6_1",
        "queensland",
        "montana_37_115",
        "california_22ccr",
        "uk_hsg282",
        "victoria_phw_2019",
        "ontario_565",
        "quebec_q2r39",
        "iowa_641_15",
        "nsw",
        "mahc",
        "cdc_hot_tub_advice",
        "who_2007",
        "who_2006",
        "anchorage_16_15",
        "maine_10_144_202+dc_25c",
    ),
    "bromine": (
        "dc_25c",
        "new_york_6_1",
        "queensland",
        "montana_37_115",
        "california_22ccr",
        "uk_hsg282",
        "ontario_565",
        "quebec_q2r39",
        "iowa_641_15",
        "mahc",
        "cdc_hot_tub_advice",
        "who_2007",
        "who_2006",
    ),
}
ACCEPTANCE_SETS = {"chlorine": ("dc_25c", "new_york_6_1", "queensland")}
ACCEPTANCE_SETS["bromine"] = ACCEPTANCE_SETS["chlorine"]
ADJUSTERS = ("sodium_bicarbonate", "sodium_carbonate", "sodium_bisulfate", "calcium_chloride_dihydrate")
KITS = {
    "liquid chlorine": ("chlorine", ("sodium_hypochlorite", "sodium_thiosulfate_pentahydrate")),
    "dry hypochlorite": ("chlorine", ("calcium_hypochlorite", "sodium_thiosulfate_pentahydrate")),
    "dichlor": ("chlorine", ("dichlor_dihydrate", "sodium_sulfite")),
    "both chlorines": ("chlorine", ("dichlor_dihydrate", "calcium_hypochlorite", "hydrogen_peroxide")),
    "two-step bromine, chlorine-free": (
        "bromine",
        ("sodium_bromide", "potassium_monopersulfate", "sodium_thiosulfate_pentahydrate"),
    ),
    "two-step bromine, dichlor": ("bromine", ("sodium_bromide", "dichlor_dihydrate", "sodium_sulfite")),
    "bromine granules and liquid chlorine": (
        "bromine",
        ("sodium_bromide", "bcdmh", "sodium_hypochlorite", "sodium_thiosulfate_pentahydrate"),
    ),
}
STRENGTHS = {"sodium_hypochlorite": 0.125, "hydrochloric_acid": 0.31, "hydrogen_peroxide": 0.27}
DENSITIES = {"sodium_hypochlorite": 1.2, "hydrochloric_acid": 1.16, "hydrogen_peroxide": 1.1}


def product(substance: str, random: Random | None = None) -> dict[str, Any]:
    """One product, pure to a few per cent; liquids at a usual strength and density."""
    if substance in STRENGTHS:
        return {
            "id": substance.replace("_", "-"),
            "substance": substance,
            "active_fraction": STRENGTHS[substance],
            "form": "liquid",
            "density_g_ml": DENSITIES[substance],
        }
    strength = 0.98 if random is None else round(random.uniform(0.65, 1.0), 2)
    return {
        "id": substance.replace("_", "-"),
        "substance": substance,
        "active_fraction": strength,
        "form": "granules",
    }


def kit(*substances: str) -> list[dict[str, Any]]:
    """Products by substance."""
    return [product(substance) for substance in substances]


def readings(random: Random, system: str) -> dict[str, float]:
    """A tub's readings, extreme in one of six."""
    extreme = random.choice(["halogen", "cyanurate"]) if random.random() < 1 / 6 else ""
    halogen = round(random.uniform(15, 60) if extreme == "halogen" else random.uniform(0, 15), 1)
    cyanurate = 0 if random.random() < 0.4 else round(random.uniform(0, 90))
    if extreme == "cyanurate":
        cyanurate = round(random.uniform(90, 200))
    found: dict[str, float] = {
        "temperature_c": round(random.uniform(35.2, 38), 1),
        "ph": round(random.uniform(6.6, 8.4), 1),
        "total_alkalinity_mg_l": round(random.uniform(25 + 0.25 * cyanurate, 240)),
        "calcium_hardness_mg_l": round(random.uniform(20, 480)),
        "total_dissolved_solids_mg_l": round(random.uniform(300, 1500)),
        "cyanuric_acid_mg_l": cyanurate,
    }
    if system == "chlorine":
        return found | {"free_chlorine_mg_l": halogen}
    if random.random() < 0.7:
        found["cyanuric_acid_mg_l"] = 0
    return found | {"total_bromine_mg_l": halogen, "bromide_mg_l": round(random.uniform(0, 40), 1)}


def supply(random: Random) -> dict[str, float]:
    """A supply water: no sanitiser but a trace of chlorine, no cyanurate."""
    return {
        "temperature_c": 12,
        "ph": round(random.uniform(7, 8.2), 1),
        "total_alkalinity_mg_l": round(random.uniform(40, 160)),
        "calcium_hardness_mg_l": round(random.uniform(20, 250)),
        "total_dissolved_solids_mg_l": 300,
        "cyanuric_acid_mg_l": 0,
        "free_chlorine_mg_l": round(random.uniform(0, 0.5), 1),
    }


def landing_request(random: Random, sets: dict[str, tuple[str, ...]] | None = None) -> dict[str, Any]:
    """A request whose products and supply water can mend most waters."""
    system, extra = KITS[random.choice(sorted(KITS))]
    return {
        "volume_l": random.choice([350, 800, 1250, 1600, 4000]),
        "volume_basis": "measured",
        "sanitiser": system,
        "guideline": random.choice((sets or SETS)[system]),
        "setting": random.choice(["indoor", "outdoor"]),
        "readings": readings(random, system),
        "fill": supply(random),
        "products": [product(substance, random) for substance in (*ADJUSTERS, *extra)],
    }


def any_request(random: Random) -> dict[str, Any]:
    """A request with anything in it: some products missing, odd shells, holds, guesses, short visits."""
    request = landing_request(random)
    everything = [
        *ADJUSTERS,
        "hydrochloric_acid",
        "borax_decahydrate",
        "calcium_chloride_anhydrous",
        *KITS["liquid chlorine"][1],
        *KITS["both chlorines"][1],
        "lithium_hypochlorite",
        "sodium_sulfite",
        "potassium_monopersulfate",
    ]
    if request["sanitiser"] == "bromine":
        everything += ["sodium_bromide", "bcdmh"]
    names = dict.fromkeys(random.choice(everything) for _ in range(random.randint(0, 12)))
    if random.random() < 0.5:
        request["products"] = [product(name, random) for name in names]
    for one in request["products"]:
        if random.random() < 0.15:
            one["label_max_g_per_m3"] = round(random.uniform(2, 40), 1)
        if random.random() < 0.15:
            one["label_wait_minutes"] = random.choice([10, 45, 90, 240])
    request["volume_l"] = random.choice([300, 700, 1250, 2500, 9000])
    request["volume_basis"] = random.choice(["plate", "measured", "guess"])
    request["shell"] = random.choice(["acrylic", "wood", "vinyl", "stainless_steel"])
    request["units"] = random.choice(["metric", "metric", "us"])
    _sometimes(random, request)
    return request


def _sometimes(random: Random, request: dict[str, Any]) -> None:
    if random.random() < 0.4:
        del request["fill"]
    if random.random() < 0.2:
        name = random.choice(sorted(set(request["readings"]) - {"ph"}))
        del request["readings"][name]
    if random.random() < 0.15 and request["products"]:
        request["forbidden_substances"] = [random.choice(request["products"])["substance"]]
    if random.random() < 0.2:
        request["minutes_on_site"] = random.choice([30, 60, 90, 150])
    if random.random() < 0.2:
        request["bathers_expected"] = random.randint(1, 8)
    if random.random() < 0.05:
        request["holds"] = [random.choice(["microbiology_positive", "fouling", "unknown_product", "illness"])]
    free = request["readings"].get("free_chlorine_mg_l")
    if free is not None and random.random() < 0.3:
        request["readings"]["total_chlorine_mg_l"] = round(free + random.uniform(0, 1.8), 1)
