"""How free chlorine divides between cyanuric acid and water.

Each cyanuric ring binds up to three chlorines and loses up to three protons. With the hydrogen ion
fixed, every species is a constant times [H3Cy][HOCl]^n, so two mass balances remain and one of them
is linear: a single unknown, the free HOCl.
"""

from __future__ import annotations

from typing import NamedTuple

from .constants import CyanurateConstants


class Binding(NamedTuple):
    """Species of one ring per [H3Cy], by chlorines bound (0 to 3), times [HOCl] to that power.

    all_0 … all_3 sum over the charges; minus1, minus2, minus3 hold one charge each, by chlorines.
    """

    all_0: float
    all_1: float
    all_2: float
    all_3: float
    minus1: tuple[float, float, float]
    minus2: tuple[float, float]
    minus3: float


def binding(k: CyanurateConstants, hydrogen_activity: float, neutral: float, single: float) -> Binding:
    """Conditional formation constants at one hydrogen-ion activity.

    neutral, single   Activity coefficients of a neutral species and of a singly charged ion; charges
                      2 and 3 take its fourth and ninth power (Davies).

    >>> from service.chemistry.constants import constants_at
    >>> round(binding(constants_at(25.0).cyanurate, 10**-7.5, 1.0, 1.0).minus1[0], 2)
    3.42
    """
    one = neutral / (hydrogen_activity * single)
    two = neutral / (hydrogen_activity**2 * single**4)
    minus3 = k.cl0_minus3 * neutral / (hydrogen_activity**3 * single**9)
    minus1 = (
        k.cl0_minus1 * one,
        k.cl1_minus1 * one * neutral,
        k.cl2_minus1 * one * neutral * neutral,
    )
    minus2 = (k.cl0_minus2 * two, k.cl1_minus2 * two * neutral)
    return Binding(
        1.0 + minus1[0] + minus2[0] + minus3,
        k.cl1_neutral * neutral + minus1[1] + minus2[1],
        k.cl2_neutral * neutral**2 + minus1[2],
        k.cl3_neutral * neutral**3,
        minus1,
        minus2,
        minus3,
    )


def free_hypochlorous_acid(
    bound: Binding, *, cyanurate: float, chlorine: float, hypochlorite_ratio: float, near: float = 0.0
) -> float:
    """Free HOCl, [mol/L], from the totals of cyanurate and chlorine(I), [mol/L].

    hypochlorite_ratio   [OCl-]/[HOCl]. near: a guess, such as the last answer.

    The chlorine balance rises strictly with HOCl, so Newton's method is kept inside a bracket that
    shrinks on every evaluation, and cannot fail.

    >>> from service.chemistry.constants import constants_at
    >>> rings = binding(constants_at(25.0).cyanurate, 10**-7.5, 1.0, 1.0)
    >>> free = free_hypochlorous_acid(rings, cyanurate=2.3e-4, chlorine=4.2e-5, hypochlorite_ratio=0.9)
    >>> round(free * 70906, 3)
    0.028
    """
    share = 1.0 + hypochlorite_ratio
    low, high = 0.0, chlorine / share
    if cyanurate == 0.0 or chlorine == 0.0:
        return high
    b0, b1, b2, b3 = bound[:4]
    x = near if 0.0 < near < high else chlorine / (share + cyanurate * b1 / b0)
    for _ in range(80):
        rings = b0 + x * (b1 + x * (b2 + x * b3))
        held_slope = (b1 + x * (2 * b2 + x * 3 * b3)) / rings
        held = x * held_slope
        excess = x * share + cyanurate * held - chlorine
        if excess > 0:
            high = x
        else:
            low = x
        square_slope = (b1 + x * (4 * b2 + x * 9 * b3)) / rings
        step = excess / (share + cyanurate * (square_slope - held * held_slope))
        previous, x = x, x - step
        if abs(step) <= 1e-13 * previous:
            break
        if not low < x < high:
            x = 0.5 * (low + high)
            if x in (low, high):
                break
    return x
