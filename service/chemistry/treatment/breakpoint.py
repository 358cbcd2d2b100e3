"""Combined chlorine: one large dose of chlorine to breakpoint, or new water.

The dose is ten times the combined chlorine, free chlorine not subtracted: COMAR 10.17.01.43 H (Maryland).
It is a rule of thumb; theory asks 7.6 mg of chlorine per mg of ammonia nitrogen (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from service.chemistry.treatment import pairs
from service.chemistry.treatment.caps import MOST_BREAKPOINT_IN_WOOD_MG_L, MOST_BREAKPOINT_MG_L
from service.chemistry.treatment.levels import PLACE
from service.chemistry.treatment.problem import Problem
from service.chemistry.treatment.products import Product
from service.chemistry.treatment.scene import MONOPERSULFATE_READS_FOR, Scene, combined_limit

TIMES_COMBINED: Final = 10.0
MOST_TRIES: Final = 2
MOST_WATER_INSTEAD: Final = 0.5


@dataclass(frozen=True)
class Breakpoint:
    """A breakpoint dose: the product, grams per m3, and the free chlorine right after it, [mg/L]."""

    product: Product
    g_per_m3: float
    free_chlorine_mg_l: float


def chased(scene: Scene) -> bool:
    """Combined chlorine was read above its limit, and the reading can be believed."""
    limit, combined = combined_limit(scene), scene.combined
    return (
        scene.request.sanitiser == "chlorine"
        and limit is not None
        and combined is not None
        and combined > limit + 1e-9
        and not reads_as_combined(scene)
    )


def reads_as_combined(scene: Scene) -> bool:
    """Monopersulfate of the last 48 hours reads as combined chlorine, unless its interference was removed."""
    if scene.request.interference_remover:
        return False
    return any(
        dose.substance in pairs.MONOPERSULFATES and _within(dose.at, scene.now)
        for dose in scene.request.recent
    )


def _within(then: datetime | None, now: datetime | None) -> bool:
    return then is None or now is None or now - then <= MONOPERSULFATE_READS_FOR


def plan_breakpoint(scene: Scene, problem: Problem) -> Breakpoint | None:
    """The breakpoint dose, or None where none is due or new water is the better remedy."""
    combined = scene.combined
    if combined is None or not chased(scene) or scene.halogen_high:
        return None
    wanted = TIMES_COMBINED * combined
    most = MOST_BREAKPOINT_IN_WOOD_MG_L if scene.request.shell == "wood" else MOST_BREAKPOINT_MG_L
    tried = scene.request.number("breakpoint_attempts") or 0
    if wanted > most or tried >= MOST_TRIES or scene.value("bromide_mg_l"):
        return None
    doses = [
        dose for j in range(len(problem.products)) if (dose := _dose(scene, problem, j, wanted)) is not None
    ]
    if not doses:
        return None
    best = min(doses, key=lambda dose: (dose.product.substance in pairs.ISOCYANURATES, dose.g_per_m3))
    return best if _lands(scene, best) or not _water_does_it(scene) else None


def _dose(scene: Scene, problem: Problem, j: int, wanted: float) -> Breakpoint | None:
    """The dose of one product, None where its label or the cyanurate limit forbids it."""
    product, column = problem.products[j], problem.columns[j]
    if product.substance not in pairs.CHLORINES:
        return None
    g_per_m3 = wanted / column[PLACE["free_chlorine_mg_l"]]
    label = product.label_max_g_per_m3
    if label is not None and g_per_m3 > label:
        return None
    cyanurate = scene.targets.get("cyanuric_acid_mg_l")
    place = PLACE["cyanuric_acid_mg_l"]
    if cyanurate is not None and cyanurate.misses(problem.start[place] + g_per_m3 * column[place]):
        return None
    return Breakpoint(product, g_per_m3, (scene.value("free_chlorine_mg_l") or 0.0) + wanted)


def _lands(scene: Scene, dose: Breakpoint) -> bool:
    return not scene.targets["free_chlorine_mg_l"].misses(dose.free_chlorine_mg_l)


def _water_does_it(scene: Scene) -> bool:
    """True when no more than half of the water need be replaced instead."""
    limit = combined_limit(scene)
    if scene.fill is None or limit is None or not scene.combined:
        return False
    return 1 - limit / scene.combined <= MOST_WATER_INSTEAD
