"""Waits of a schedule: to the next product, to the retest, and before anyone bathes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from service.chemistry.treatment.products import Product
from service.chemistry.treatment.rounds import Round
from service.chemistry.waits import BEFORE_BATHING, BETWEEN_PRODUCTS, Wait, before_bathing, between_products

RETEST_MINUTES: Final = 10


@dataclass(frozen=True)
class Timed:
    """One dose or retest on the clock.

    at          Minutes from the start of the work, the retests themselves not counted.
    wait        To the next step, with its source.
    before_use  For a dose: how long bathers stay out after it.
    """

    at: int
    wait: Wait
    before_use: Wait | None


@dataclass(frozen=True)
class Clock:
    """The whole schedule on the clock.

    steps      One Timed for each dose, and after each round's doses one for its retest.
    ends_at    Minutes from the start to the end of the last retest.
    last_dose  Minutes from the start to the last dose.
    free_at    Minutes from the start until no dose keeps bathers out.
    free_by    The wait that decides it, None without doses.
    """

    steps: tuple[tuple[Timed, ...], ...]
    ends_at: int
    last_dose: int
    free_at: int
    free_by: Wait | None


def clock(
    rounds: Sequence[Round],
    *,
    starts_at: int = 0,
    earlier: Sequence[tuple[str, int]] = (),
    hand_dosing: Wait | None = None,
    pair_waits: bool = True,
) -> Clock:
    """Puts rounds on the clock.

    starts_at    Minutes already gone when the first round begins.
    earlier      (substance, minute) of doses before that, which still keep others waiting.
    hand_dosing  What the guideline asks for after dosing by hand.
    pair_waits   False takes the longer waits between pairs away, for tests that prove they are needed.
    """
    doses = [dose.product for found in rounds for dose in found.doses]
    history, now = list(earlier), starts_at
    timed: list[tuple[Timed, ...]] = []
    free_at, free_by, place, last_dose = starts_at, None, 0, starts_at
    for found in rounds:
        line: list[Timed] = []
        round_doses: list[tuple[str, int]] = []
        for number, dose in enumerate(found.doses):
            history.append((dose.product.substance, now))
            round_doses.append((dose.product.substance, now))
            use = _before_use(dose.product, hand_dosing)
            if now + use.minutes >= free_at:
                free_at, free_by = now + use.minutes, use
            last_dose, place = now, place + 1
            if number + 1 < len(found.doses):
                wait = _to_next(
                    history, found.doses[number + 1].product.substance, now, pair_waits=pair_waits
                )
            else:
                wait = _to_retest(round_doses, now)
            line.append(Timed(now, wait, use))
            now += wait.minutes
        pause = _after_retest(history, doses[place:], now, pair_waits=pair_waits)
        line.append(Timed(now, pause, None))
        now += pause.minutes
        timed.append(tuple(line))
    ends_at = now + RETEST_MINUTES * len(rounds)
    return Clock(tuple(timed), ends_at, last_dose, free_at, free_by)


def _before_use(product: Product, hand_dosing: Wait | None) -> Wait:
    return before_bathing(
        product.substance,
        in_feeder=product.in_feeder,
        label_minutes=product.label_wait_minutes,
        hand_dosing=hand_dosing,
    )


def _to_next(history: Sequence[tuple[str, int]], following: str, now: int, *, pair_waits: bool) -> Wait:
    """The wait after the last dose so that every earlier one has had its time before the next."""
    longest = BETWEEN_PRODUCTS
    if not pair_waits:
        return longest
    for substance, at in history:
        asked = between_products(substance, following)
        still = asked.minutes - (now - at)
        if still > longest.minutes:
            longest = Wait(still, asked.source)
    return longest


def _to_retest(round_doses: Sequence[tuple[str, int]], now: int) -> Wait:
    """The wait after the round's last dose so that every dose of it has mixed before the retest."""
    longest = Wait(0, "")
    for substance, at in round_doses:
        asked = BEFORE_BATHING[substance]
        still = asked.minutes - (now - at)
        if still > longest.minutes:
            longest = Wait(still, f"pumps on before a retest: {asked.source}")
    return longest


def _after_retest(
    history: Sequence[tuple[str, int]], following: Sequence[Product], now: int, *, pair_waits: bool
) -> Wait:
    """What is left of the waits the next round's first dose must keep; a quick retest is no wait."""
    longest = Wait(0, "")
    if not following or not pair_waits:
        return longest
    for substance, at in history:
        asked = between_products(substance, following[0].substance)
        still = asked.minutes - (now - at)
        if still > longest.minutes:
            longest = Wait(still, asked.source)
    return longest
