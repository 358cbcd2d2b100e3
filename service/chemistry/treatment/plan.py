"""The choice of products and grams: which mix, with or without new water, with the fewest products.

The rules here keep the linear programme from clever nonsense: a neutraliser only against a reading above
the limit and never beside a sanitiser; never acid and base together, nor any pair that must not stand in
one plan; new water only where a limit cannot be met otherwise; no product whose work another can do.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Final

from service.chemistry.treatment import pairs
from service.chemistry.treatment.lines import draw_lines, with_tilts
from service.chemistry.treatment.pairs import first_conflict
from service.chemistry.treatment.problem import Mix, Problem
from service.chemistry.treatment.programme import INDEX_AIM, converge, solve_once
from service.chemistry.water import solve

MISS: Final = 1e-6
SAME_AIM: Final = 0.05
MOST_MASS_WITHOUT_A_PRODUCT: Final = 1.3
WATER_STEP: Final = 0.01
FINE_WATER: Final = 0.001
# Once water must be replaced, this much more may go for the ideals: the hose is out already.
MORE_WATER: Final = 0.1
SANITISING: Final = pairs.OXIDISERS | {"sodium_bromide"}


@dataclass(frozen=True)
class Rules:
    """Which of the planner's rules are in force; all of them, except where a test takes one away."""

    conflicts_split: bool = True
    neutraliser_alone: bool = True
    water_for_limits_only: bool = True
    splits: bool = True
    pair_waits: bool = True


ALL_RULES: Final = Rules()


def choose(problem: Problem, usable: Collection[int], *, halogen_high: bool, rules: Rules = ALL_RULES) -> Mix:
    """The mix that meets the limits, then the aims, with the fewest grams and products.

    usable        Places of the products that may be used at all.
    halogen_high  The sanitiser was read above its limit: neutralise or dilute, do not add.
    """
    problem = with_tilts(problem)
    dry = _roles(problem, usable, halogen_high=halogen_high, rules=rules)
    mix = settle(_barely(problem) if halogen_high else problem, dry, fraction=0.0, rules=rules)
    if mix.limit_miss <= MISS or problem.fill_levels is None:
        return mix
    wet = frozenset(j for j in usable if problem.products[j].substance not in pairs.NEUTRALISERS)
    needed = converge(problem, wet, fraction=None, aims=not rules.water_for_limits_only)
    if needed.limit_miss >= mix.limit_miss - MISS or needed.fraction <= MISS:
        return mix
    fraction = _whole_percent(needed.fraction)
    richer = converge(problem, wet, fraction=None, start=needed, most_water=min(fraction + MORE_WATER, 1.0))
    if richer.limit_miss <= needed.limit_miss + MISS:
        fraction = _whole_percent(richer.fraction)
    diluted = settle(problem, wet, fraction=round(fraction, 4), rules=rules)
    if diluted.limit_miss > needed.limit_miss + MISS:
        # Rounding up the water cost a limit elsewhere: keep to what is needed, to a tenth of a per cent.
        exact = settle(problem, wet, fraction=round(needed.fraction + FINE_WATER / 2, 3), rules=rules)
        diluted = min(diluted, exact, key=lambda mix: mix.cost)
    if diluted.limit_miss > MISS:
        # Lines bend where much cyanurate is diluted: a drain and refill may still do it.
        diluted = min(diluted, settle(problem, wet, fraction=1.0, rules=rules), key=lambda mix: mix.cost)
    return diluted if diluted.limit_miss < mix.limit_miss - MISS else mix


def _whole_percent(fraction: float) -> float:
    return min(math.ceil(fraction / WATER_STEP - 1e-6) * WATER_STEP, 1.0)


def _barely(problem: Problem) -> Problem:
    """A neutraliser brings the sanitiser just inside its limit, and is no acid for other ends."""
    targets = {
        name: wanted.barely_inside() if name in ("free_chlorine_mg_l", "total_bromine_mg_l") else wanted
        for name, wanted in problem.targets.items()
    }
    return replace(problem, targets=targets)


def _roles(problem: Problem, usable: Collection[int], *, halogen_high: bool, rules: Rules) -> frozenset[int]:
    if not rules.neutraliser_alone:
        return frozenset(usable)
    barred = SANITISING if halogen_high else pairs.NEUTRALISERS
    return frozenset(j for j in usable if problem.products[j].substance not in barred)


def settle(problem: Problem, allowed: Collection[int], *, fraction: float, rules: Rules = ALL_RULES) -> Mix:
    """The best mix at a given replaced fraction: conflicts resolved, index minded, products dropped."""
    mix, allowed = _without_conflicts(problem, frozenset(allowed), fraction, rules)
    if _index_is_off(problem, mix):
        mended = converge(problem, allowed, fraction=fraction, index=True, start=mix)
        if mended.limit_miss <= mix.limit_miss + MISS and not _conflict(problem, mended, rules):
            return _fewer(problem, mended, allowed, fraction, index=True)
    return _fewer(problem, mix, allowed, fraction, index=False)


def _without_conflicts(
    problem: Problem, allowed: frozenset[int], fraction: float, rules: Rules
) -> tuple[Mix, frozenset[int]]:
    """Solves, and where two products must not stand in one plan solves again without each."""
    mix = converge(problem, allowed, fraction=fraction)
    conflict = _conflict(problem, mix, rules)
    if conflict is None:
        return mix, allowed
    branches = [
        _without_conflicts(
            problem,
            frozenset(j for j in allowed if problem.products[j].substance not in group),
            fraction,
            rules,
        )
        for group in conflict
    ]
    return min(branches, key=lambda branch: branch[0].cost)


def _conflict(problem: Problem, mix: Mix, rules: Rules) -> tuple[frozenset[str], frozenset[str]] | None:
    if not rules.conflicts_split:
        return None
    used = [
        product.substance for product, grams in zip(problem.products, mix.grams, strict=True) if grams > 0
    ]
    found = first_conflict(used)
    if found is None:
        return None
    rule, one, _ = found
    return (rule.first, rule.second) if one in rule.first else (rule.second, rule.first)


def _index_is_off(problem: Problem, mix: Mix) -> bool:
    """The saturation index is out of its aim, and every figure it rests on was measured."""
    if not {"ph", "calcium_hardness_mg_l"} <= set(problem.targets):
        return False
    index = solve(problem.water_after(mix)).saturation_index
    return index is not None and abs(index) > INDEX_AIM


def _fewer(problem: Problem, mix: Mix, allowed: frozenset[int], fraction: float, *, index: bool) -> Mix:
    """Drops products, smallest first, while misses do not grow and the mass stays within 1.3 times."""
    used = sorted((j for j, grams in enumerate(mix.grams) if grams > 0), key=lambda j: mix.grams[j])
    if len(used) < 2:
        return mix
    lines = draw_lines(problem, mix, allowed if index else ())
    kept, best = frozenset(used), solve_once(problem, lines, frozenset(used), fraction=fraction, aims=True)
    for j in used:
        if j not in kept or len(kept) < 2:
            continue
        tried = solve_once(problem, lines, kept - {j}, fraction=fraction, aims=True)
        if _no_worse(tried, best):
            kept, best = kept - {j}, tried
    if len(kept) == len(used):
        return mix
    fewer = converge(problem, kept, fraction=fraction, index=index, start=best)
    return fewer if _no_worse(fewer, mix) else mix


def _no_worse(tried: Mix, best: Mix) -> bool:
    return (
        tried.limit_miss <= best.limit_miss + MISS
        and tried.aim_miss <= best.aim_miss + SAME_AIM
        and tried.mass <= MOST_MASS_WITHOUT_A_PRODUCT * best.mass
    )
