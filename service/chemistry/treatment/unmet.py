"""What a treatment cannot do, in words: the reason, and what would.

Every figure that stays outside its limit is named; nothing is left out quietly.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Final

from service.chemistry.guidelines import Finding
from service.chemistry.treatment import pairs
from service.chemistry.treatment.scene import Scene
from service.chemistry.treatment.targets import Target
from service.chemistry.treatment.words import label, number

RAISES: Final[dict[str, tuple[frozenset[str], str]]] = {
    "ph": (pairs.BASES | {"sodium_bicarbonate"}, "a base (sodium carbonate)"),
    "total_alkalinity_mg_l": (frozenset({"sodium_bicarbonate", "sodium_carbonate"}), "sodium bicarbonate"),
    "calcium_hardness_mg_l": (pairs.CALCIUM_CHLORIDES, "calcium chloride"),
    "free_chlorine_mg_l": (pairs.CHLORINES, "a chlorine product"),
    "total_bromine_mg_l": (
        pairs.OXIDISERS,
        "a bromine product, or an oxidiser and a known bromide bank",
    ),
}
LOWERS: Final[dict[str, tuple[frozenset[str], str]]] = {
    "ph": (pairs.ACIDS, "an acid"),
    "total_alkalinity_mg_l": (pairs.ACIDS, "an acid"),
    "free_chlorine_mg_l": (pairs.NEUTRALISERS, "a neutraliser"),
    "total_bromine_mg_l": (pairs.NEUTRALISERS, "a neutraliser"),
}
FALLS_BY_ITSELF: Final = frozenset({"free_chlorine_mg_l", "total_bromine_mg_l"})


AIR_RAISES: Final = "run the air with sanitiser in range: it raises pH without a product; then test again"
AIR_BETWEEN: Final = (
    "lower it with acid in steps and run the air between them to bring pH back; test each time"
)


@dataclass(frozen=True)
class Unmet:
    """One figure that stays outside its limit; `waits` where time alone brings it back."""

    parameter: str
    reason: str
    remedy: str
    waits: bool = False

    def as_dict(self) -> dict[str, Any]:
        """The contract's form, with both in one sentence as `message`."""
        return {
            "parameter": self.parameter,
            "reason": self.reason,
            "remedy": self.remedy,
            "message": f"{self.reason}: {self.remedy}.",
        }


def missed(
    scene: Scene,
    figures: Mapping[str, float | None],
    targets: Mapping[str, Target],
    used: Collection[str],
    *,
    shock: bool = False,
) -> list[Unmet]:
    """Every planned figure that still misses its limit, with reason and remedy.

    figures   The water after all rounds. used: substances that were at hand and allowed.
    """
    found = []
    for name, wanted in targets.items():
        value = figures.get(name)
        if value is None or not wanted.misses(value):
            continue
        if shock and name == "free_chlorine_mg_l":
            found.append(_after_shock(name, value, wanted))
        elif name == scene.request.halogen and scene.sanitiser_left_alone:
            found.append(_left_alone(name, value, scene.sanitiser_left_alone))
        else:
            found.append(_speak(scene, name, value, wanted, used))
    return found


def _left_alone(name: str, value: float, why: str) -> Unmet:
    return Unmet(
        name,
        f"{label(name)} reads {number(name, value)} and is left alone: {why}",
        "keep it closed, wait and test again",
        waits=True,
    )


def _after_shock(name: str, value: float, wanted: Target) -> Unmet:
    high = number(name, wanted.limit_high or 0.0)
    return Unmet(
        name,
        f"Free chlorine is about {number(name, value)} right after the breakpoint dose, above {high}",
        f"keep it closed until a test shows {high} or less",
        waits=True,
    )


def not_planned(scene: Scene, figures: Mapping[str, float | None]) -> list[Unmet]:
    """What was found outside its limit and no dose can mend, and what nobody measured."""
    found = [
        Unmet(name, f"{label(name)} was not measured", "test it, then ask again")
        for name in (scene.request.halogen, "total_alkalinity_mg_l")
        if not scene.has(name) and (name == scene.request.halogen or scene.ph_is_off)
    ]
    if not scene.has("total_alkalinity_mg_l") and scene.ph_is_off:
        found.append(
            Unmet("ph", "pH is not dosed without total alkalinity", "test total alkalinity, then ask again")
        )
    halogen = scene.request.halogen
    found += [
        Unmet(halogen, finding.message.rstrip("."), "choose or pair a guideline set that limits it")
        for finding in scene.findings
        if finding.parameter == halogen and finding.low is None and finding.high is None
        if finding.severity == "out_of_range"
    ]
    planned = {*scene.targets, *_DERIVED, *((_SOLIDS_RISE,) if scene.limits_solids else ())}
    for finding in scene.findings:
        if finding.severity == "advice" or finding.parameter in planned:
            continue
        if finding.value is not None or finding.parameter not in scene.readings:
            found.append(_beyond_dosing(finding))
    return list({item.parameter: item for item in reversed(found)}.values())[::-1]


_SOLIDS_RISE: Final = "total_dissolved_solids_rise_mg_l"
_DERIVED: Final = frozenset(
    {"total_chlorine_mg_l", "combined_chlorine_share_of_free", "combined_chlorine_share_of_total"}
)
_BEYOND: Final[dict[str, str]] = {
    "temperature_c": "turn the heater down, let it cool, test again",
    "orp_mv": "test it again once sanitiser and pH are right",
    "turbidity_ntu": "rinse the filter, keep the pumps on, test again",
}


def _beyond_dosing(finding: Finding) -> Unmet:
    remedy = _BEYOND.get(finding.parameter, "keep it closed and mend the cause; no dose does")
    return Unmet(finding.parameter, finding.message.rstrip("."), remedy)


def _speak(scene: Scene, name: str, value: float, wanted: Target, used: Collection[str]) -> Unmet:
    too_high = wanted.limit_high is not None and value > wanted.limit_high
    limit = wanted.limit_high if too_high else wanted.limit_low
    assert limit is not None
    shown = number(name, value)
    if shown == number(name, limit):
        shown = f"{value:.4g}"
    if too_high:
        return _too_high(scene, name, value, shown, limit, used)
    substances, words = RAISES.get(name, (frozenset(), ""))
    if not substances & set(used):
        return Unmet(
            name,
            f"{label(name)} stays at {shown}, below {number(name, limit)}, without {words}; none can be used",
            f"bring {words}",
        )
    remedy = AIR_RAISES if name == "ph" and scene.value("total_alkalinity_mg_l") else _together_remedy(scene)
    return Unmet(
        name,
        f"{label(name)} reaches only {shown}, below {number(name, limit)}, with what is at hand",
        remedy,
    )


def _too_high(
    scene: Scene, name: str, value: float, shown: str, limit: float, used: Collection[str]
) -> Unmet:
    substances, words = LOWERS.get(name, (frozenset(), ""))
    if name == "ph":
        if not substances & set(used):
            return Unmet(name, f"pH stays at {shown} without an acid; none can be used", "bring an acid")
        return Unmet(
            name, f"pH stays at {shown}, above {limit:g}, with what is at hand", _together_remedy(scene)
        )
    reason = f"{label(name)} {shown} is above {number(name, limit)} and nothing here removes it"
    if substances & set(used):
        reason = f"{label(name)} {shown} stays above {number(name, limit)} with what is at hand"
    if name in FALLS_BY_ITSELF:
        return Unmet(
            name,
            reason,
            "lift out any feeder, leave the cover open and wait, a day or two is usual, then test again",
            waits=True,
        )
    if name == "total_alkalinity_mg_l" and substances & set(used):
        return Unmet(name, reason, AIR_BETWEEN)
    read = scene.value(name)
    if name == "cyanuric_acid_mg_l" and (scene.fill is not None or (read is not None and read <= limit)):
        reason = f"The only sanitiser at hand takes cyanuric acid to {shown}, above {number(name, limit)}"
        return Unmet(name, reason, "bring a sanitiser or oxidiser without cyanuric acid")
    return Unmet(name, reason, dilution_words(scene, name, value, limit, words))


def dilution_words(scene: Scene, name: str, value: float, limit: float, other: str = "") -> str:
    """How much water to replace, or that the supply is no better."""
    supply = (scene.request.fill or {}).get(name)
    level = supply.value if supply is not None else 0.0
    either = f"bring {other}, or " if other else ""
    if supply is not None and level >= limit:
        return (
            f"the supply ({label(name).lower()} {number(name, level)}) is above the target "
            f"{number(name, limit)}: soften or haul water"
        )
    share = math.ceil(100 * (value - limit) / (value - level) - 1e-9)
    if share >= 100:
        return f"{either}drain and refill"
    return f"{either}replace at least {share} % of the water"


def _together_remedy(scene: Scene) -> str:
    if scene.request.fill is None:
        return "replace part of the water and test again, or bring another product"
    return "drain and refill, or bring another product"
