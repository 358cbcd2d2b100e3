"""The order of the work: one product a step, large doses split, every round closed by a retest.

Order, with the reason: dilute or neutralise (high halogen spoils tests and bleaches indicators), then
alkalinity (it sets how far an acid moves pH), pH (it sets how well chlorine works, and calcium clouds in
high pH), hardness, sanitiser, oxidiser (it keeps the tub closed longest). Common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from service.chemistry.steps import add
from service.chemistry.treatment import pairs
from service.chemistry.treatment.caps import (
    MOST_ALKALINITY_MG_L,
    MOST_BROMINE_MG_L,
    MOST_CHLORINE_MG_L,
    MOST_HARDNESS_MG_L,
    MOST_PH,
)
from service.chemistry.treatment.levels import PLACE, levels_of
from service.chemistry.treatment.measures import portions, smallest_step_g
from service.chemistry.treatment.products import Product
from service.chemistry.water import Equilibrium, Water, solve

NEUTRALISE, ALKALINITY, PH, HARDNESS, BROMIDE, SANITISER, OXIDISER = range(7)
LARGEST_CHANGES: Final = (
    ("total_alkalinity_mg_l", MOST_ALKALINITY_MG_L),
    ("calcium_hardness_mg_l", MOST_HARDNESS_MG_L),
    ("free_chlorine_mg_l", MOST_CHLORINE_MG_L),
    ("total_bromine_mg_l", MOST_BROMINE_MG_L),
)
MOST_PORTIONS: Final = 40


def group_of(substance: str) -> int:
    """The place of a substance in the order of work.

    >>> group_of("sodium_bicarbonate") < group_of("sodium_bisulfate") < group_of("dichlor_dihydrate")
    True
    """
    if substance in pairs.NEUTRALISERS:
        return NEUTRALISE
    if substance in pairs.ACIDS | pairs.BASES:
        return PH
    if substance in pairs.CALCIUM_CHLORIDES:
        return HARDNESS
    if substance == "sodium_bromide":
        return BROMIDE
    if substance in pairs.CHLORINES or substance == "bcdmh":
        return SANITISER
    return OXIDISER if substance in pairs.MONOPERSULFATES else ALKALINITY


@dataclass
class Amount:
    """A product with the grams still to be given; `whole` in one dose, never split."""

    product: Product
    grams: float
    whole: bool = False
    begun: bool = False

    @property
    def group(self) -> int:
        """Place in the order of work; a dose given whole comes last."""
        return OXIDISER if self.whole else group_of(self.product.substance)


@dataclass(frozen=True)
class Given:
    """One dose of the schedule, with the equilibrium before and after it."""

    product: Product
    grams: float
    before: Equilibrium
    after: Equilibrium
    whole: bool = False

    @property
    def ph_change(self) -> float:
        """How far this dose moves pH."""
        return self.after.ph - self.before.ph

    def over_cap(self, volume_l: float) -> bool:
        """Whether the dose is above what one dose may be; a breakpoint dose is one by rule."""
        if self.whole:
            return False
        too_much = self.grams * 1000 / volume_l > self.product.cap.g_per_m3 * (1 + 1e-9)
        return too_much or abs(self.ph_change) > MOST_PH


@dataclass
class Round:
    """Doses between two retests."""

    doses: list[Given] = field(default_factory=list)


@dataclass(frozen=True)
class Scale:
    """How doses are measured: US units or metric, kitchen or pocket scale, sanitiser rounded up or not."""

    us_units: bool = False
    fine: bool = False
    sanitiser_up: bool = False

    def step_g(self, product: Product, grams: float) -> float:
        """Grams between one measurable dose of a product and the next."""
        return smallest_step_g(product, grams, us_units=self.us_units, fine=self.fine)


@dataclass(frozen=True)
class Schedule:
    """Rounds of doses and the water they end with."""

    rounds: tuple[Round, ...]
    water: Water
    end: Equilibrium


def schedule(
    water: Water,
    stages: Sequence[Sequence[Amount]],
    *,
    volume_l: float,
    scale: Scale,
    ph_trusted: bool = True,
    split: bool = True,
) -> Schedule:
    """Rounds of doses that give every stage's amounts in order, none above its cap.

    stages      Amounts to give, stage after stage: two where the volume is a guess, else one.
    ph_trusted  False: nothing but neutraliser until a retest has shown pH.
    split       False takes the splitting away, for tests that prove it is needed.
    """
    state = _State(water, volume_l, scale, split)
    rounds: list[Round] = []
    for stage in stages:
        left = [amount for amount in stage if amount.grams > 0]
        if not any(amount.group == NEUTRALISE for amount in left):
            ph_trusted = True
        while left:
            rounds.append(state.one_round(left, neutraliser_only=not ph_trusted))
            left = [amount for amount in left if amount.grams > 0]
            if not any(amount.group == NEUTRALISE for amount in left):
                ph_trusted = True
    return Schedule(tuple(rounds), state.water, state.now)


class _State:
    """The water as the doses go in."""

    def __init__(self, water: Water, volume_l: float, scale: Scale, split: bool) -> None:
        self.water = water
        self.volume_l = volume_l
        self.scale = scale
        self.split = split
        self.now = solve(water)

    def one_round(self, left: Sequence[Amount], *, neutraliser_only: bool) -> Round:
        found = Round()
        for amount in sorted(left, key=lambda amount: amount.group):
            if neutraliser_only and amount.group != NEUTRALISE:
                continue
            if not _blocked(amount, left, found):
                self._give(amount, found)
        return found

    def _give(self, amount: Amount, into: Round) -> None:
        grams = amount.grams if amount.whole or not self.split else self._portion(amount)
        before = self.now
        self.water = self._after(amount.product, grams)
        self.now = solve(self.water, near_ph=before.ph)
        left = round(amount.grams - grams, 4)
        amount.grams = left if left > 0.25 * self.scale.step_g(amount.product, left) else 0.0
        amount.begun = True
        into.doses.append(Given(amount.product, grams, before, self.now, amount.whole))

    def _after(self, product: Product, grams: float) -> Water:
        return add(
            self.water,
            substance=product.substance,
            mass_g=grams,
            volume_l=self.volume_l,
            active_fraction=product.active_fraction,
        )

    def _portion(self, amount: Amount) -> float:
        """The largest dose of equal ones that stays within every cap; half, for a first neutraliser."""
        product, total = amount.product, amount.grams
        step = self.scale.step_g(product, total)
        most = product.cap.g_per_m3 * self.volume_l / 1000
        if total < 1.5 * step:
            return total
        count = max(self._fewest(product, total), math.ceil(total / most - 1e-9))
        if amount.group == NEUTRALISE and not amount.begun and total >= 2 * step:
            count = max(count, 2)
        for parts in range(count, MOST_PORTIONS):
            first = portions(total, parts, step)[0]
            if first <= step * (1 + 1e-9) or (
                first <= most * (1 + 1e-9) and self._moves_little(product, first)
            ):
                return min(first, total)
        return min(step, total)

    def _fewest(self, product: Product, grams: float) -> int:
        """How many doses the linear limits on one dose ask for."""
        before, after = levels_of(self.water), levels_of(self._after(product, grams))
        shares = [abs(after[PLACE[name]] - before[PLACE[name]]) / most for name, most in LARGEST_CHANGES]
        return max(1, math.ceil(max(shares) - 1e-9))

    def _moves_little(self, product: Product, grams: float) -> bool:
        water = self._after(product, grams)
        before, after = levels_of(self.water), levels_of(water)
        if any(abs(after[PLACE[name]] - before[PLACE[name]]) > most for name, most in LARGEST_CHANGES):
            return False
        return abs(solve(water, near_ph=self.now.ph).ph - self.now.ph) <= MOST_PH


def _blocked(amount: Amount, left: Sequence[Amount], so_far: Round) -> bool:
    """True while an earlier group is unfinished, or carbonate and calcium would share a round."""
    pending = {other.group for other in left if other.grams > 0}
    if amount.group in (NEUTRALISE, ALKALINITY):
        return amount.group == ALKALINITY and NEUTRALISE in pending
    if pending & {NEUTRALISE, ALKALINITY} or (amount.group > PH and PH in pending):
        return True
    if amount.group == HARDNESS:
        return any(dose.product.substance == "sodium_carbonate" for dose in so_far.doses)
    if amount.group == SANITISER:
        return BROMIDE in pending
    return amount.group == OXIDISER and bool(pending & {BROMIDE, SANITISER})
