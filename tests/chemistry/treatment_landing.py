"""Where a treatment lands by PHREEQC (phreeqpython 1.6.2), and whether that is inside the guideline set."""

from __future__ import annotations

from typing import Any

from service.chemistry.guidelines import Finding, get, judge
from service.chemistry.readings import parse_readings
from tests.chemistry.phreeqc_reference import PhreeqcReference

NOT_READ = {
    "cyanuric_acid_mg_l": 0,
    "borate_mg_l": 0,
    "free_chlorine_mg_l": 0,
    "total_bromine_mg_l": 0,
    "bromide_mg_l": 0,
}
JUDGED = (
    "ph",
    "total_alkalinity_mg_l",
    "calcium_hardness_mg_l",
    "cyanuric_acid_mg_l",
    "total_dissolved_solids_mg_l",
    "temperature_c",
)


def water_by_phreeqc(
    reference: PhreeqcReference, request: dict[str, Any], answer: dict[str, Any]
) -> dict[str, float]:
    """The water after every step of the treatment, as PHREEQC works it out."""
    strengths = {product["id"]: product["active_fraction"] for product in request["products"]}
    steps: list[dict[str, Any]] = []
    for step in answer["treatment"]:
        if step["action"] == "add":
            steps.append(
                {
                    "add": step["substance"],
                    "mass_g": step["mass_g"],
                    "active_fraction": strengths[step["product_id"]],
                }
            )
        if step["action"] == "replace_water":
            steps.append(
                {
                    "replace_fraction": step["replace_fraction"],
                    "fill": NOT_READ | request["fill"],
                    "temperature_c": request["readings"]["temperature_c"],
                }
            )
    readings = NOT_READ | request["readings"]
    asked = {"volume_l": request["volume_l"], "readings": readings, "steps": steps}
    return reference.predict(asked)["after"]


def outside_the_set(request: dict[str, Any], water: dict[str, float]) -> list[Finding]:
    """Findings graver than advice in the water that the treatment makes."""
    halogen = "free_chlorine_mg_l" if request["sanitiser"] == "chlorine" else "total_bromine_mg_l"
    read = {name: round(water[name], 6) for name in (*JUDGED, halogen)}
    if request["sanitiser"] == "chlorine":
        read["total_chlorine_mg_l"] = read["free_chlorine_mg_l"]
    fill = parse_readings(request["fill"], path="fill") if request.get("fill") else None
    found = judge(
        parse_readings(read),
        guideline=get(request["guideline"]),
        sanitiser=request["sanitiser"],
        setting=request["setting"],
        fill=fill,
    )
    return [finding for finding in found if finding.severity != "advice"]
