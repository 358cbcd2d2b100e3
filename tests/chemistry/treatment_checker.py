"""An independent reading of the safety rules: what is wrong with an answer of `treat`, in words.

Nothing is imported from the planner. The rules are typed again here from their sources; the water after
each dose is worked out with `predict`, which has its own tests against PHREEQC.

Sources: incompatible pairs, Bland Shire Council (NSW) and New York State Department of Health; closing
after dosing by hand, 25-C DCMR 6416 (repealed chapter 64); all other figures house rules or common
practice, no source.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from service.chemistry.errors import InputError
from service.chemistry.guidelines import band, get
from service.chemistry.predict import predict
from service.chemistry.readings import parse_readings

HYPOCHLORITES = {"sodium_hypochlorite", "calcium_hypochlorite", "lithium_hypochlorite"}
ISOCYANURATES = {"dichlor_dihydrate", "dichlor_anhydrous", "trichlor"}
CHLORINE = HYPOCHLORITES | ISOCYANURATES
BROMINE = {"bcdmh", "sodium_bromide"}
ACID = {"sodium_bisulfate", "hydrochloric_acid"}
BASE = {"sodium_carbonate", "borax_decahydrate"}
CALCIUM = {"calcium_chloride_anhydrous", "calcium_chloride_dihydrate"}
NEUTRALISER = {"sodium_thiosulfate_pentahydrate", "sodium_sulfite", "hydrogen_peroxide"}
MONOPERSULFATE = {"potassium_monopersulfate"}
SANITISER = CHLORINE | {"bcdmh"} | MONOPERSULFATE
DRY_HALOGEN = (CHLORINE - {"sodium_hypochlorite"}) | {"bcdmh"}

NEVER_IN_ONE_PLAN = (
    (HYPOCHLORITES, ISOCYANURATES),
    (ACID, BASE),
    (MONOPERSULFATE, DRY_HALOGEN),
    (MONOPERSULFATE, HYPOCHLORITES),
    ({"hydrogen_peroxide"}, HYPOCHLORITES),
    ({"bcdmh"}, CHLORINE - {"sodium_hypochlorite"}),
    (NEUTRALISER, SANITISER),
)
MINUTES_APART = (
    (ACID, CHLORINE | BROMINE, 30),
    (CALCIUM, {"sodium_carbonate"}, 120),
)
ORDER = (
    NEUTRALISER,
    {"sodium_bicarbonate"},
    ACID | BASE,
    CALCIUM,
    {"sodium_bromide"},
    CHLORINE | {"bcdmh"},
    MONOPERSULFATE,
)
# Largest single dose, grams of product per m3 unless "pure"; chlorine and bromine as mg/L of the element.
CAPS_G_M3 = {
    "sodium_bicarbonate": 85,
    "sodium_carbonate": 20,
    "sodium_bisulfate": 20,
    "calcium_chloride_dihydrate": 150,
    "sodium_thiosulfate_pentahydrate": 9,
    "potassium_monopersulfate": 60,
    "sodium_bromide": 30,
}
# 20 mL of 31 % hydrochloric acid, density 1.16 g/mL.
HYDROCHLORIC_ACID_PURE_G_M3 = 20 * 1.16 * 0.31
# Grams of chlorine (as Cl2) in a gram of the pure substance, from molar masses (CIAAW 2021).
CHLORINE_SHARE = {
    "sodium_hypochlorite": 70.906 / 74.442,
    "calcium_hypochlorite": 2 * 70.906 / 142.98,
    "lithium_hypochlorite": 70.906 / 58.39,
    "dichlor_dihydrate": 2 * 70.906 / 255.98,
    "dichlor_anhydrous": 2 * 70.906 / 219.95,
    "trichlor": 3 * 70.906 / 232.41,
}
BEFORE_RETEST = dict.fromkeys((*CALCIUM, "borax_decahydrate"), 60)
BEFORE_BATHERS = BEFORE_RETEST
LARGEST_CHANGE = {
    "ph": 0.4,
    "total_alkalinity_mg_l": 50,
    "calcium_hardness_mg_l": 100,
    "free_chlorine_mg_l": 10,
    "total_bromine_mg_l": 10,
}
STAND_INS = {"temperature_c": 38, "total_alkalinity_mg_l": 100}
VERDICTS = {"fit_now", "fit_from", "closed_until_retest"}
OUNCE_G = 28.349523125


def broken_rules(request: dict[str, Any], answer: dict[str, Any]) -> list[str]:
    """Every rule that the answer breaks, as a sentence; empty when it is safe."""
    steps = answer["treatment"]
    doses = [step for step in steps if step["action"] == "add"]
    products = {product["id"]: product for product in request["products"]}
    return [
        *_form(steps),
        *_products(request, doses, products),
        *_measurable(request, doses, products),
        *_plan_pairs(doses),
        *_within_rounds(steps),
        *_waits(steps),
        *_caps(request, doses, products),
        *_changes(request, steps, products),
        *_neutraliser(request, steps),
        *_untrusted_ph(request, steps),
        *_unmeasured(request, doses),
        *_guess(request, steps),
        *_before_bathers(request, answer, steps, products),
        *_verdict(request, answer, doses),
    ]


def _form(steps: list[dict[str, Any]]) -> list[str]:
    found = []
    if [step["order"] for step in steps] != list(range(1, len(steps) + 1)):
        found.append("order does not rise by one from 1")
    if any(later["round"] < earlier["round"] for earlier, later in pairwise(steps)):
        found.append("rounds do not rise")
    for round_ in {step["round"] for step in steps}:
        inside = [step for step in steps if step["round"] == round_]
        if inside[-1]["action"] != "retest":
            found.append(f"round {round_} does not end with a retest")
    for step in steps:
        if step["action"] == "add" and not step["cautions"]:
            found.append(f"step {step['order']} shows no caution")
        if step["action"] in ("add", "replace_water") and "wait_minutes" not in step:
            found.append(f"step {step['order']} has no wait")
    return found


def _products(
    request: dict[str, Any], doses: list[dict[str, Any]], products: dict[str, dict[str, Any]]
) -> list[str]:
    found = []
    for dose in doses:
        listed = products.get(dose["product_id"])
        if listed is None or listed["substance"] != dose["substance"]:
            found.append(f"{dose['product_id']} is not at hand")
        if dose["substance"] in request.get("forbidden_substances", []):
            found.append(f"{dose['substance']} is forbidden")
        if request["sanitiser"] == "chlorine" and dose["substance"] in BROMINE:
            found.append("a bromine product in a chlorine spa")
        if dose["substance"] == "trichlor" and request.get("shell", "acrylic") in ("wood", "acrylic"):
            found.append("trichlor in this shell")
    if request.get("holds") and doses:
        found.append("a dose while the water is held")
    return found


def _measurable(
    request: dict[str, Any], doses: list[dict[str, Any]], products: dict[str, dict[str, Any]]
) -> list[str]:
    found = []
    for dose in doses:
        product = products[dose["product_id"]]
        amount, step = dose["mass_g"], 0.1
        if dose["mass_g"] <= 0:
            found.append(f"{dose['substance']}: nothing is added")
        if product.get("form") == "liquid" and product.get("density_g_ml"):
            amount = dose["volume_ml"]
            if abs(amount * product["density_g_ml"] - dose["mass_g"]) > 0.02:
                found.append(f"{dose['substance']}: {amount} mL is not {dose['mass_g']} g")
            step = 0.05 * 29.5735295625 if request.get("units") == "us" else 0.1
        elif request.get("units") == "us":
            step = 0.01 * OUNCE_G
        if abs(amount / step - round(amount / step)) > 0.06:
            found.append(f"{dose['substance']}: {amount} cannot be measured")
    return found


def _plan_pairs(doses: list[dict[str, Any]]) -> list[str]:
    used = {dose["substance"] for dose in doses}
    return [
        f"{sorted(used & first)} and {sorted(used & second)} in one plan"
        for first, second in NEVER_IN_ONE_PLAN
        if used & first and used & second
    ]


def _place(substance: str) -> int:
    return next((place for place, group in enumerate(ORDER) if substance in group), len(ORDER))


def _within_rounds(steps: list[dict[str, Any]]) -> list[str]:
    found = []
    for round_ in {step["round"] for step in steps}:
        inside = [step for step in steps if step["round"] == round_]
        doses = [step for step in inside if step["action"] == "add"]
        if any(step["action"] == "replace_water" for step in inside[1:]):
            found.append(f"round {round_}: water is replaced after a dose")
        ids = [dose["product_id"] for dose in doses]
        if len(ids) != len(set(ids)):
            found.append(f"round {round_}: a product twice")
        for earlier, later in pairwise(doses):
            shock = "reakpoint" in later["purpose"]
            if not shock and _place(later["substance"]) < _place(earlier["substance"]):
                found.append(f"round {round_}: {later['substance']} after {earlier['substance']}")
    return found


def _asked(one: str, other: str) -> int:
    waits = [15]
    for first, second, minutes in MINUTES_APART:
        if (one in first and other in second) or (other in first and one in second):
            waits.append(minutes)
    return max(waits)


def _waits(steps: list[dict[str, Any]]) -> list[str]:
    """Minutes between doses, and from each dose to its retest, by wait_minutes alone."""
    found, clock, given, this_round = [], 0, [], []
    for step in steps:
        if step["action"] == "add":
            for substance, at in given:
                if clock - at < _asked(substance, step["substance"]):
                    found.append(f"{step['substance']} {clock - at} min after {substance}")
            given.append((step["substance"], clock))
            this_round.append((step["substance"], clock))
        if step["action"] == "retest":
            for substance, at in this_round:
                if clock - at < BEFORE_RETEST.get(substance, 30):
                    found.append(f"retest {clock - at} min after {substance}")
            this_round = []
        clock += step.get("wait_minutes", 0)
    return found


def _is_breakpoint(request: dict[str, Any], dose: dict[str, Any], product: dict[str, Any]) -> bool:
    """One dose of ten times the combined chlorine (COMAR 10.17.01.43 H) is exempt from the splits."""
    readings = request["readings"]
    if "total_chlorine_mg_l" not in readings or "free_chlorine_mg_l" not in readings:
        return False
    combined = readings["total_chlorine_mg_l"] - readings["free_chlorine_mg_l"]
    share = CHLORINE_SHARE.get(dose["substance"], 0) * product["active_fraction"]
    chlorine = dose["mass_g"] * 1000 * share / request["volume_l"]
    most = 10 if request.get("shell") == "wood" else 20
    return abs(chlorine - 10 * combined) <= 0.15 * 10 * combined + 0.6 and chlorine <= most * 1.03


def _caps(
    request: dict[str, Any], doses: list[dict[str, Any]], products: dict[str, dict[str, Any]]
) -> list[str]:
    found, bromide = [], 0.0
    for dose in doses:
        product, substance = products[dose["product_id"]], dose["substance"]
        per_m3 = dose["mass_g"] * 1000 / request["volume_l"]
        pure = per_m3 * product["active_fraction"]
        label = product.get("label_max_g_per_m3")
        shock = _is_breakpoint(request, dose, product)
        if label is not None and per_m3 > label * 1.0001 and not shock:
            found.append(f"{substance}: {per_m3:.1f} g/m3 is above its label")
        if per_m3 > CAPS_G_M3.get(substance, 1e9) * 1.0001:
            found.append(f"{substance}: {per_m3:.1f} g/m3 is above its cap")
        if substance == "hydrochloric_acid" and pure > HYDROCHLORIC_ACID_PURE_G_M3 * 1.002:
            found.append(f"hydrochloric acid: {pure:.1f} g/m3 pure is above its cap")
        if pure * CHLORINE_SHARE.get(substance, 0) > 10.001 and not shock:
            found.append(f"{substance}: more than 10 g of chlorine per m3")
        bromide += pure if substance == "sodium_bromide" else 0.0
    if bromide > 30.001:
        found.append("more than 30 g/m3 of sodium bromide")
    return found


def _changes(
    request: dict[str, Any], steps: list[dict[str, Any]], products: dict[str, dict[str, Any]]
) -> list[str]:
    """How far each dose moves the water, worked out dose by dose."""
    readings = {**STAND_INS, **request["readings"]}
    ph_known = {"total_alkalinity_mg_l"} <= set(request["readings"])
    done: list[dict[str, Any]] = []
    found = []
    before = _water(request, readings, done)
    for step in steps:
        if step["action"] == "replace_water":
            fill, temperature = request["fill"], readings["temperature_c"]
            done.append(
                {"replace_fraction": step["replace_fraction"], "fill": fill, "temperature_c": temperature}
            )
            before = _water(request, readings, done)
        if step["action"] != "add":
            continue
        product = products[step["product_id"]]
        done.append(
            {
                "add": step["substance"],
                "mass_g": step["mass_g"],
                "active_fraction": product["active_fraction"],
            }
        )
        after = _water(request, readings, done)
        for name, most in LARGEST_CHANGE.items():
            if name == "ph" and not ph_known:
                continue
            old, new = before[name] or 0.0, after[name] or 0.0
            if abs(new - old) > most * 1.0001 and not _is_breakpoint(request, step, product):
                found.append(f"step {step['order']} moves {name} from {old:.2f} to {new:.2f}")
        before = after
    return found


def _water(request: dict[str, Any], readings: dict[str, Any], done: list[dict[str, Any]]) -> dict[str, Any]:
    after = predict({"volume_l": request["volume_l"], "readings": readings, "steps": done})["after"]
    return dict(after)


def _neutraliser(request: dict[str, Any], steps: list[dict[str, Any]]) -> list[str]:
    given = [step for step in steps if step["action"] == "add" and step["substance"] in NEUTRALISER]
    if not given:
        return []
    found = []
    value, high = request["readings"].get(_halogen(request)), _highest(request)
    if value is None or value <= high:
        found.append("a neutraliser although the sanitiser is not above its limit")
    if any(step["action"] == "replace_water" for step in steps):
        found.append("a neutraliser after a drain")
    total = sum(step["mass_g"] for step in given)
    smallest = min(step["mass_g"] for step in given)
    if len(given) > 1 and given[0]["mass_g"] > 0.5 * total + max(smallest, 1.0):
        found.append("the first neutraliser is more than half")
    if len(given) == 1 and total * 1000 / request["volume_l"] > 9:
        found.append("all the neutraliser at once")
    return found


def _highest(request: dict[str, Any]) -> float:
    """The most sanitiser the set allows, total chlorine less combined where a set limits that."""
    readings = parse_readings(request["readings"])
    asked = {"sanitiser": request["sanitiser"], "setting": request["setting"], "readings": readings}
    high = band(get(request["guideline"]), _halogen(request), **asked).high
    total = band(get(request["guideline"]), "total_chlorine_mg_l", **asked).high
    given = request["readings"]
    combined = given.get("total_chlorine_mg_l", 0) - given.get("free_chlorine_mg_l", 0)
    return min(99 if high is None else high, 99 if total is None else total - max(combined, 0))


def _halogen(request: dict[str, Any]) -> str:
    return "free_chlorine_mg_l" if request["sanitiser"] == "chlorine" else "total_bromine_mg_l"


def _untrusted_ph(request: dict[str, Any], steps: list[dict[str, Any]]) -> list[str]:
    """Above 10 mg/L of chlorine or 20 of bromine pH is not dosed before a retest."""
    readings = request["readings"]
    if readings.get("free_chlorine_mg_l", 0) <= 10 and readings.get("total_bromine_mg_l", 0) <= 20:
        return []
    first = next((place for place, step in enumerate(steps) if step["action"] == "retest"), len(steps))
    return [
        f"{step['substance']} on a pH that cannot be trusted"
        for step in steps[:first]
        if step["action"] == "add" and step["substance"] in ACID | BASE
    ]


def _unmeasured(request: dict[str, Any], doses: list[dict[str, Any]]) -> list[str]:
    readings = request["readings"]
    needs = (
        ({"sodium_bicarbonate", *ACID, *BASE}, "total_alkalinity_mg_l"),
        (CALCIUM, "calcium_hardness_mg_l"),
        (SANITISER | NEUTRALISER | {"sodium_bromide"}, _halogen(request)),
    )
    found = [
        f"{dose['substance']} without a reading of {name}"
        for dose in doses
        for group, name in needs
        if dose["substance"] in group and name not in readings
    ]
    if request["sanitiser"] == "bromine" and "bromide_mg_l" not in readings and not request.get("fresh_fill"):
        found += [
            f"{dose['substance']} although bromide is not known"
            for dose in doses
            if dose["substance"] in CHLORINE | MONOPERSULFATE | {"sodium_bromide"}
        ]
    return found


def _guess(request: dict[str, Any], steps: list[dict[str, Any]]) -> list[str]:
    """Where the volume is a guess the first dose of each product is at most half."""
    if request.get("volume_basis") != "guess":
        return []
    found = []
    doses = [step for step in steps if step["action"] == "add"]
    for substance in {dose["substance"] for dose in doses}:
        given = [dose for dose in doses if dose["substance"] == substance]
        whole = "reakpoint" in given[0]["purpose"]
        total = sum(dose["mass_g"] for dose in given)
        slack = max(1.0, 0.05 * total, 6.0 if given[0].get("volume_ml") else 0, OUNCE_G * 0.1)
        if not whole and given[0]["mass_g"] > 0.5 * total + slack:
            found.append(f"{substance}: more than half at first although the volume is a guess")
    return found


def _before_bathers(
    request: dict[str, Any],
    answer: dict[str, Any],
    steps: list[dict[str, Any]],
    products: dict[str, dict[str, Any]],
) -> list[str]:
    now = [step for step in steps if step["action"] == "add" and step["when"] == "before_you_leave"]
    if not now:
        return []
    clock, at = 0, {}
    for step in steps:
        at[step["order"]] = clock
        clock += step.get("wait_minutes", 0)
    last = at[now[-1]["order"]]
    found = []
    for step in now:
        wait = BEFORE_BATHERS.get(step["substance"], 30)
        wait = max(wait, products[step["product_id"]].get("label_wait_minutes") or 0)
        if "dc_25c" in request["guideline"]:
            wait = max(wait, 60)
        if at[step["order"]] + wait > last + answer["wait_before_use_minutes"] + 1e-9:
            found.append(f"bathers in before {wait} min after {step['substance']}")
        if answer["verdict"] == "fit_from" and answer["fit_from_minutes"] < at[step["order"]] + wait:
            found.append(f"fit from {answer['fit_from_minutes']} is too early after {step['substance']}")
    return found


def _verdict(request: dict[str, Any], answer: dict[str, Any], doses: list[dict[str, Any]]) -> list[str]:
    found = []
    readings, verdict = request["readings"], answer["verdict"]
    if verdict not in VERDICTS:
        found.append(f"verdict {verdict}")
    value = readings.get(_halogen(request))
    low, high = (1, 10) if request["sanitiser"] == "chlorine" else (2, 22)
    unfit = value is None or not low <= value <= high or not 6.8 <= readings["ph"] <= 8.0
    unfit = unfit or readings.get("temperature_c", 0) > 40 or bool(request.get("holds"))
    if unfit and (answer["fit_for_use"] or verdict != "closed_until_retest"):
        found.append("called fit below the house floor")
    if verdict != "closed_until_retest" and not answer["fit_for_use"]:
        found.append("opened although the water as read was not fit")
    if verdict == "fit_now" and any(dose["when"] == "before_you_leave" for dose in doses):
        found.append("fit now although something is dosed")
    if verdict == "fit_from" and not isinstance(answer["fit_from_minutes"], int):
        found.append("fit from without a time")
    return found


def water_cannot_be_worked_out(request: dict[str, Any]) -> bool:
    """True where even `predict` refuses the readings."""
    try:
        _water(request, {**STAND_INS, **request["readings"]}, [])
    except InputError:
        return True
    return False
