"""From a scene to measured doses in rounds: the mix rounded, split, deferred and checked again."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from service.chemistry.treatment import pairs
from service.chemistry.treatment.at_hand import problem_of, usable
from service.chemistry.treatment.breakpoint import Breakpoint, plan_breakpoint
from service.chemistry.treatment.levels import columns_of, dosed, levels_of
from service.chemistry.treatment.measures import measure
from service.chemistry.treatment.plan import ALL_RULES, Rules, choose
from service.chemistry.treatment.problem import Mix, Problem
from service.chemistry.treatment.products import Product
from service.chemistry.treatment.rounds import (
    NEUTRALISE,
    OXIDISER,
    SANITISER,
    Amount,
    Round,
    Scale,
    Schedule,
    group_of,
    schedule,
)
from service.chemistry.treatment.scene import Scene
from service.chemistry.treatment.targets import Target
from service.chemistry.treatment.timing import clock
from service.chemistry.water import Equilibrium, Water, figures, solve

# Rounding may move a figure by this share of its range before a finer scale is asked for.
ROUNDING_SHARE: Final = 0.08
# A measured dose keeps this share of a range between the water and its limit.
LIMIT_MARGIN: Final = 0.002
PROMISED: Final = 1e-6


@dataclass(frozen=True)
class Prescription:
    """What is to be done.

    fraction    Share of the water to replace first, 0 to 1.
    rounds      Doses before leaving. later: doses for after.
    start       The water once replaced. end: once everything was done.
    expected    Figures of the end, combined chlorine among them where it was read.
    targets     What was aimed at. usable: products that could be dosed.
    refused     Sentences about products that were not used.
    """

    fraction: float
    rounds: tuple[Round, ...]
    later: tuple[Round, ...]
    start: Equilibrium
    end: Equilibrium
    water: Water
    expected: Mapping[str, float | None]
    targets: Mapping[str, Target]
    usable: tuple[Product, ...]
    refused: tuple[str, ...]
    scale: Scale
    breakpoint: Breakpoint | None = None


def prescribe(scene: Scene, *, rules: Rules = ALL_RULES) -> Prescription:
    """The doses for a scene: planned together, rounded to what can be measured, split and put in order."""
    products, refused = usable(scene)
    problem = problem_of(scene, products)
    shock = plan_breakpoint(scene, problem)
    if shock is not None:
        problem = _with_shock(problem, shock)
    mix = choose(problem, _beside(shock, problem), halogen_high=scene.halogen_high, rules=rules)
    found = _measured(scene, problem, mix, shock, rules)
    later: tuple[Round, ...] = ()
    on_site = scene.request.number("minutes_on_site")
    if on_site is not None and clock(found.rounds).ends_at > on_site:
        shorter = _deferred(scene, problem, shock, rules)
        if shorter is not None and clock(shorter[0].rounds).ends_at < clock(found.rounds).ends_at:
            mix, (found, later) = shorter[2], shorter[:2]
    return _prescription(scene, problem, mix, found, later, products, refused, shock)


def _beside(shock: Breakpoint | None, problem: Problem) -> list[int]:
    """Places of the products that may be planned: beside a breakpoint dose no sanitiser or neutraliser.

    Nothing limits free chlorine then, and a hypochlorite would be taken as a source of calcium or base.
    """
    barred = pairs.OXIDISERS | pairs.BROMINES | pairs.NEUTRALISERS if shock is not None else frozenset()
    return [j for j, product in enumerate(problem.products) if product.substance not in barred]


def _with_shock(problem: Problem, shock: Breakpoint) -> Problem:
    """The problem once a breakpoint dose is in: nothing else is asked of the sanitiser."""
    water = dosed(problem.water, shock.product, shock.g_per_m3)
    targets = {
        name: wanted
        for name, wanted in problem.targets.items()
        if name not in ("free_chlorine_mg_l", "combined_chlorine_mg_l")
    }
    return replace(problem, water=water, start=levels_of(water), fill=None, fill_levels=None, targets=targets)


@dataclass(frozen=True)
class _Rounds:
    rounds: tuple[Round, ...]
    schedule: Schedule
    scale: Scale
    start: Equilibrium


def _measured(
    scene: Scene,
    problem: Problem,
    mix: Mix,
    shock: Breakpoint | None,
    rules: Rules,
    water: Water | None = None,
) -> _Rounds:
    """The mix in measurable doses: kitchen scale first, a finer one where rounding would cost a limit."""
    us_units = scene.request.units == "us"
    exact = problem.water_after(mix)
    scales = (
        Scale(us_units),
        Scale(us_units, fine=True),
        Scale(us_units, fine=True, sanitiser_up=True),
    )
    found = [_scheduled(scene, problem, mix, shock, rules, scales[0], water)]
    for scale in scales[1:]:
        if _faithful(problem, found[-1], exact, scene.request.volume_l):
            return found[-1]
        found.append(_scheduled(scene, problem, mix, shock, rules, scale, water))
    return min(found[1:], key=lambda tried: _limits_missed(problem, tried))


def _scheduled(
    scene: Scene,
    problem: Problem,
    mix: Mix,
    shock: Breakpoint | None,
    rules: Rules,
    scale: Scale,
    water: Water | None,
) -> _Rounds:
    start = water
    if start is None:
        start = scene.water if shock is not None else problem.after_replacing(mix.fraction)
    amounts = _rounded(problem, mix, scene.request.volume_l, scale)
    if shock is not None:
        grams = measure(
            shock.product,
            shock.g_per_m3 * scene.request.volume_l / 1000,
            us_units=scale.us_units,
            fine=scale.fine,
        ).mass_g
        amounts.append(Amount(shock.product, grams, whole=True))
    stages = _halves(amounts, scale) if scene.request.volume_basis == "guess" else [amounts]
    found = schedule(
        start,
        stages,
        volume_l=scene.request.volume_l,
        scale=scale,
        ph_trusted=scene.ph_trusted or mix.fraction > 0 or water is not None,
        split=rules.splits,
    )
    return _Rounds(found.rounds, found, scale, solve(start))


def _rounded(problem: Problem, mix: Mix, volume_l: float, scale: Scale) -> list[Amount]:
    amounts = []
    for product, grams in zip(problem.products, mix.grams, strict=True):
        if grams > 0:
            wanted = grams * volume_l / 1000
            if scale.sanitiser_up and group_of(product.substance) in (SANITISER, OXIDISER):
                wanted += 0.5 * scale.step_g(product, wanted)
            told = measure(product, wanted, us_units=scale.us_units, fine=scale.fine)
            if told.mass_g == 0 and scale.fine and mix.limit_miss <= PROMISED:
                told = measure(product, scale.step_g(product, wanted), us_units=scale.us_units, fine=True)
            amounts.append(Amount(product, told.mass_g))
    return amounts


def _halves(amounts: Sequence[Amount], scale: Scale) -> list[list[Amount]]:
    """Two stages where the volume is a guess: half first, the rest after the retest."""
    first, second = [], []
    for amount in amounts:
        step = scale.step_g(amount.product, amount.grams)
        half = round(math.floor(amount.grams / 2 / step + 1e-6) * step, 4)
        if amount.whole or amount.group == NEUTRALISE:
            # A neutraliser comes first and is given by halves anyway; a breakpoint dose is one dose.
            half = 0.0 if amount.whole else amount.grams
        first.append(Amount(amount.product, half))
        second.append(Amount(amount.product, round(amount.grams - half, 4), whole=amount.whole))
    return [first, second]


def _faithful(problem: Problem, found: _Rounds, exact: Water, volume_l: float) -> bool:
    """Rounding kept every promised limit, every figure near its plan and every dose within its cap."""
    doses = [dose for round_ in found.rounds for dose in round_.doses]
    if any(dose.over_cap(volume_l) for dose in doses):
        return False
    if sum(group_of(dose.product.substance) == NEUTRALISE for dose in doses) == 1:
        return False
    meant, told = figures(exact, solve(exact)), figures(found.schedule.water, found.schedule.end)
    for name, wanted in problem.targets.items():
        value, planned = told.get(name), meant.get(name)
        if value is None or planned is None:
            continue
        if abs(value - planned) > ROUNDING_SHARE * wanted.span:
            return False
        if wanted.misses(value, margin=LIMIT_MARGIN) and not wanted.misses(planned, margin=LIMIT_MARGIN):
            return False
    return True


def _limits_missed(problem: Problem, found: _Rounds) -> int:
    told = figures(found.schedule.water, found.schedule.end)
    values = [(told.get(name), wanted) for name, wanted in problem.targets.items()]
    return sum(value is not None and wanted.misses(value, margin=LIMIT_MARGIN) for value, wanted in values)


def _deferred(
    scene: Scene, problem: Problem, shock: Breakpoint | None, rules: Rules
) -> tuple[_Rounds, tuple[Round, ...], Mix] | None:
    """First what bathing depends on, then hardness and ideals on the water that leaves; None if no gain."""
    halogen = scene.request.halogen
    urgent = {
        name: wanted if name == halogen else wanted.limits_only()
        for name, wanted in problem.targets.items()
        if name != "calcium_hardness_mg_l"
    }
    soft = [
        j for j in _beside(shock, problem) if problem.products[j].substance not in pairs.CALCIUM_CHLORIDES
    ]
    first = replace(problem, targets=urgent)
    mix = choose(first, soft, halogen_high=scene.halogen_high, rules=rules)
    now = _measured(scene, first, mix, shock, rules)
    used = {dose.product.substance for found in now.rounds for dose in found.doses}
    rest = _rest(problem, now.schedule.water, _compatible(problem, used))
    remainder = choose(rest, range(len(rest.products)), halogen_high=False, rules=rules)
    then = _measured(scene, rest, remainder, None, rules, water=now.schedule.water)
    joined = _Rounds(now.rounds, then.schedule, now.scale, now.start)
    return joined, then.rounds, mix


def _compatible(problem: Problem, used: Collection[str]) -> tuple[Product, ...]:
    """Adjusters that may follow what was dosed: no sanitiser, nothing that must not share its plan."""
    return tuple(
        product
        for product in problem.products
        if product.substance not in pairs.OXIDISERS | pairs.BROMINES | pairs.NEUTRALISERS
        and not any(pairs.rules_between(product.substance, other, scope="plan") for other in used)
    )


def _rest(problem: Problem, water: Water, products: tuple[Product, ...]) -> Problem:
    columns = columns_of(water, products, sanitiser="bromine" if problem.bank else "chlorine")
    return replace(
        problem,
        water=water,
        start=levels_of(water),
        fill=None,
        fill_levels=None,
        products=products,
        columns=tuple(columns),
        most_g_m3=tuple(float("inf") for _ in products),
        bank=False,
    )


def _prescription(
    scene: Scene,
    problem: Problem,
    mix: Mix,
    found: _Rounds,
    later: tuple[Round, ...],
    products: tuple[Product, ...],
    refused: Sequence[str],
    shock: Breakpoint | None,
) -> Prescription:
    expected = dict(figures(found.schedule.water, found.schedule.end))
    if scene.combined is not None:
        left = 0.0 if shock is not None else scene.combined * (1 - mix.fraction)
        expected["combined_chlorine_mg_l"] = left
    return Prescription(
        fraction=mix.fraction,
        rounds=found.rounds,
        later=later,
        start=found.start,
        end=found.schedule.end,
        water=found.schedule.water,
        expected=expected,
        targets=scene.targets,
        usable=products,
        refused=tuple(refused),
        scale=found.scale,
        breakpoint=shock,
    )
