"""May people bathe: now, from a time on, or not before a retest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from service.chemistry.treatment.rounds import Round
from service.chemistry.treatment.targets import Target
from service.chemistry.treatment.timing import Clock
from service.chemistry.units import BROMINE_G_MOL, CHLORINE_G_MOL
from service.chemistry.water import Totals

FIT_NOW: Final = "fit_now"
FIT_FROM: Final = "fit_from"
CLOSED: Final = "closed_until_retest"
# House rule, no source: a dose that could miss its effect by half must still leave pH and sanitiser inside.
EFFECT_DOUBT: Final = 0.5


@dataclass(frozen=True)
class Verdict:
    """The verdict and, for "fit from" and "fit now", the minutes from the start of the work."""

    word: str
    fit_from_minutes: int | None


def verdict(
    *,
    fit_as_read: bool,
    rounds: Sequence[Round],
    targets: Mapping[str, Target],
    halogen: str,
    replaces_water: bool,
    told: Clock,
    other_work: bool = False,
) -> Verdict:
    """The verdict of a treatment.

    fit_as_read     The water was fit before anything was done.
    rounds          Doses before leaving. other_work: waiting or a retest is asked for beside them.
    targets         Limits of pH and sanitiser, which nothing dosed may push either out of.

    A closed tub reopens by a reading only, so anything but "fit" before means closed until the retest.
    """
    if not fit_as_read or replaces_water or other_work:
        return Verdict(CLOSED, None)
    if not rounds:
        return Verdict(FIT_NOW, 0)
    if len(rounds) > 1 or any(_could_leave(found, targets, halogen) for found in rounds):
        return Verdict(CLOSED, None)
    return Verdict(FIT_FROM, told.free_at)


def _could_leave(found: Round, targets: Mapping[str, Target], halogen: str) -> bool:
    """True when a dose of the round, half as strong again, could carry pH or sanitiser over a limit."""
    for dose in found.doses:
        if dose.whole:
            return True
        for name, before, after in (
            ("ph", dose.before.ph, dose.after.ph),
            (halogen, _halogen(dose.before.totals, halogen), _halogen(dose.after.totals, halogen)),
        ):
            wanted = targets.get(name)
            if wanted is None:
                return True
            far = after + EFFECT_DOUBT * (after - before)
            if wanted.misses(after) or wanted.misses(far):
                return True
    return False


def _halogen(totals: Totals, name: str) -> float:
    if name == "free_chlorine_mg_l":
        return totals.chlorine_i * CHLORINE_G_MOL * 1000
    return totals.bromine_i * BROMINE_G_MOL * 1000
