"""Short ways to write a water and to read what was found in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.chemistry.guidelines import Finding, fit_for_use, get, judge
from service.chemistry.readings import parse_readings

GOOD_CHLORINE = {"free_chlorine_mg_l": 4, "ph": 7.4, "temperature_c": 37}
GOOD_BROMINE = {"total_bromine_mg_l": 5, "ph": 7.4, "temperature_c": 37}


def find(
    set_id: str,
    readings: Mapping[str, Any],
    *,
    sanitiser: str = "chlorine",
    setting: str = "outdoor",
    **more: Any,
) -> list[Finding]:
    """What judging finds in a water of plain numbers (or objects, as the contract allows)."""
    for name in ("fill",):
        if name in more:
            more[name] = parse_readings(more[name])
    if "earlier" in more:
        more["earlier"] = [parse_readings(test) for test in more["earlier"]]
    guideline = get(set_id) if isinstance(set_id, str) else set_id
    return judge(parse_readings(readings), guideline=guideline, sanitiser=sanitiser, setting=setting, **more)


def outcome(set_id: str, parameter: str, value: Any, *, sanitiser: str = "chlorine", **more: Any) -> str:
    """The gravest severity found for one parameter in an otherwise good water, "in" where none is.

    Advice that only says the reading is near a limit, or outside the ideal, counts as in.
    """
    good = GOOD_BROMINE if sanitiser == "bromine" else GOOD_CHLORINE
    beside = more.pop("beside", {})
    found = find(set_id, {**good, **beside, parameter: value}, sanitiser=sanitiser, **more)
    severities = {item.severity for item in found if item.parameter == parameter}
    if "closure" in severities:
        return "close"
    return "act" if "out_of_range" in severities else "in"


def is_fit(set_id: str, readings: Mapping[str, Any], **more: Any) -> bool:
    """Whether the water may be called fit by this set."""
    return fit_for_use(find(set_id, readings, **more))
