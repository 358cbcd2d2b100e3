"""Plans of `treat` over random waters: safe by an independent checker, right by PHREEQC.

The checker (`treatment_checker`) types the rules of the trade again, from their sources, and shares no
rule with the planner. PHREEQC is phreeqpython 1.6.2 with its phreeqc.dat and the added species.
"""

from dataclasses import replace
from decimal import Decimal
from random import Random
from typing import Any

import pytest

from service.chemistry.errors import InputError
from service.chemistry.guidelines import fit_for_use, get, judge
from service.chemistry.readings import parse_readings
from service.chemistry.treatment.plan import ALL_RULES
from service.chemistry.treatment.treat import treat
from tests.chemistry.phreeqc_reference import PhreeqcReference, PhreeqcRefusedError
from tests.chemistry.treatment_checker import broken_rules
from tests.chemistry.treatment_waters import any_request, landing_request

ABSENT = (
    "cyanuric_acid_mg_l",
    "borate_mg_l",
    "free_chlorine_mg_l",
    "total_bromine_mg_l",
    "bromide_mg_l",
)
JUDGED = (
    "temperature_c",
    "ph",
    "total_alkalinity_mg_l",
    "calcium_hardness_mg_l",
    "cyanuric_acid_mg_l",
    "total_dissolved_solids_mg_l",
)


def answered(request: dict[str, Any], **options: Any) -> dict[str, Any] | None:
    """The plan, None where the request is refused in words."""
    try:
        return treat(request, **options)
    except InputError:
        return None


def unsafe(seed: int, count: int, **options: Any) -> list[str]:
    """Every broken rule of `count` plans for requests of any kind."""
    random = Random(seed)
    found = []
    for number in range(count):
        request = any_request(random)
        answer = answered(request, **options)
        if answer is not None:
            found += [f"case {number}: {words}" for words in broken_rules(request, answer)]
    return found


@pytest.mark.parametrize("seed", [11, 12, 13, 14])
def test_no_plan_breaks_a_safety_rule(seed: int) -> None:
    assert unsafe(seed, 60) == []


@pytest.mark.parametrize(("rule", "count"), [("conflicts_split", 120), ("splits", 30), ("pair_waits", 30)])
def test_the_checker_notices_when_a_rule_of_the_planner_is_taken_away(rule: str, count: int) -> None:
    assert unsafe(11, count, rules=replace(ALL_RULES, **{rule: False})) != []


def steps_of(answer: dict[str, Any], request: dict[str, Any]) -> list[dict[str, Any]]:
    """The treatment as steps of a prediction, in order."""
    strength = {product["id"]: product["active_fraction"] for product in request["products"]}
    steps: list[dict[str, Any]] = []
    for step in answer["treatment"]:
        if step["action"] == "replace_water":
            steps.append(
                {
                    "replace_fraction": step["replace_fraction"],
                    "fill": filled(request["fill"]),
                    "temperature_c": request["readings"]["temperature_c"],
                }
            )
        elif step["action"] == "add":
            steps.append(
                {
                    "add": step["substance"],
                    "mass_g": step["mass_g"],
                    "active_fraction": strength[step["product_id"]],
                }
            )
    return steps


def filled(readings: dict[str, Any]) -> dict[str, Any]:
    """Readings with what was not tested taken as none, as the prediction's contract says."""
    return {**dict.fromkeys(ABSENT, 0.0), **readings}


def lands_inside(request: dict[str, Any], answer: dict[str, Any], reference: PhreeqcReference) -> bool:
    """Whether PHREEQC's water after the treatment is fit by the chosen set and the house floor."""
    after = reference.predict(
        {
            "volume_l": request["volume_l"],
            "readings": filled(request["readings"]),
            "steps": steps_of(answer, request),
        }
    )["after"]
    halogen = "total_bromine_mg_l" if request["sanitiser"] == "bromine" else "free_chlorine_mg_l"
    # Judged to the digits that a test shows: two of pH and of the halogen.
    typed = {name: round(after[name], 2) for name in (*JUDGED, halogen) if name in request["readings"]}
    findings = judge(
        parse_readings(typed),
        guideline=get(request["guideline"]),
        sanitiser=request["sanitiser"],
        setting=request["setting"],
        fill=parse_readings(request["fill"], path="fill"),
    )
    return fit_for_use(findings) and not any(finding.severity == "out_of_range" for finding in findings)


def landed(seed: int, count: int) -> tuple[int, int, int]:
    """(inside, tried, given up) over plans that were not given up, checked by PHREEQC."""
    random, reference = Random(seed), PhreeqcReference()
    inside = tried = given_up = 0
    while tried + given_up < count:
        request = landing_request(random)
        answer = answered(request)
        if answer is None:
            continue
        if answer["unmet"]:
            given_up += 1
            continue
        try:
            good = lands_inside(request, answer, reference)
        except PhreeqcRefusedError:
            continue
        tried += 1
        inside += good
    return inside, tried, given_up


def test_forty_random_waters_land_inside_their_set_by_phreeqc() -> None:
    inside, tried, given_up = landed(seed=301, count=40)

    assert inside >= Decimal("0.97") * tried
    assert given_up <= 8


@pytest.mark.long
def test_five_hundred_random_waters_land_inside_their_set_by_phreeqc() -> None:
    inside, tried, _ = landed(seed=302, count=500)

    assert inside >= Decimal("0.99") * tried
