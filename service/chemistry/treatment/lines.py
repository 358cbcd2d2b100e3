"""Lines of constant pH: how alkalinity must go with carbon for the pH to be what is wanted.

At a fixed pH alkalinity = o + q x carbon. Cyanurate, borate, free halogen and hydantoin carry alkalinity
too, so that o moves with every product that brings or takes them, and with new water; these tilts stand
in the programme, or it would take dichlor for a base.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field, replace
from typing import Final

from service.chemistry.treatment import pairs
from service.chemistry.treatment.levels import dosed
from service.chemistry.treatment.problem import Mix, Problem
from service.chemistry.treatment.products import Product
from service.chemistry.units import ALKALINITY_MG_PER_EQ
from service.chemistry.water import Water, alkalinity_line, solve

PROBE_G_M3: Final = 5.0
WATER_PROBE: Final = 0.1
CARRY_ALKALINITY: Final = pairs.OXIDISERS | pairs.NEUTRALISERS | {"borax_decahydrate"}


@dataclass(frozen=True)
class Lines:
    """The linearisation at one water.

    ph     For each pH that matters (o, q), [mg/L] and dimensionless.
    at, fraction  The mix they are drawn at.
    tilt   For each pH how the line rises with the replaced fraction, [mg/L]: new water holds less of the
           cyanurate and borate that carry alkalinity. Empty where the fraction is given.
    index  Saturation index, with its slopes by product.
    """

    ph: dict[float, tuple[float, float]]
    at: tuple[float, ...]
    fraction: float = 0.0
    tilt: dict[float, float] = field(default_factory=dict)
    index: float | None = None
    slopes: tuple[float, ...] = ()


def draw_lines(problem: Problem, mix: Mix, slopes_for: Collection[int] = ()) -> Lines:
    """The lines of constant pH, and the slopes of the saturation index, at the water a mix leads to."""
    water = problem.water_after(mix)
    ph = {p: _line(water, p) for p in problem.targets["ph"].marks()} if "ph" in problem.targets else {}
    if not slopes_for:
        return Lines(ph, mix.grams, mix.fraction)
    here = solve(water)
    if here.saturation_index is None:
        return Lines(ph, mix.grams, mix.fraction)
    slopes = tuple(
        _index_slope(water, product, here.saturation_index, here.ph) if j in slopes_for else 0.0
        for j, product in enumerate(problem.products)
    )
    return Lines(ph, mix.grams, mix.fraction, index=here.saturation_index, slopes=slopes)


def water_tilt(problem: Problem, mix: Mix, lines: Lines) -> dict[float, float]:
    """How each line rises with the replaced fraction at a mix, [mg/L]."""
    step = WATER_PROBE if mix.fraction <= 1 - WATER_PROBE else -WATER_PROBE
    here, moved = (
        problem.water_after(replace(mix, fraction=fraction))
        for fraction in (mix.fraction, mix.fraction + step)
    )
    carbon = here.totals.dic * ALKALINITY_MG_PER_EQ
    found = {}
    for ph, (o, q) in lines.ph.items():
        o_moved, q_moved = _line(moved, ph)
        found[ph] = (o_moved - o + (q_moved - q) * carbon) / step
    return found


def _line(water: Water, ph: float) -> tuple[float, float]:
    o, q = alkalinity_line(water, ph)
    return o * ALKALINITY_MG_PER_EQ, q


def _index_slope(water: Water, product: Product, index: float, near_ph: float) -> float:
    moved = solve(dosed(water, product, PROBE_G_M3), near_ph=near_ph).saturation_index
    return 0.0 if moved is None else (moved - index) / PROBE_G_M3


def with_tilts(problem: Problem) -> Problem:
    """The problem with the tilt of every line for every product that carries alkalinity, [mg/L per g/m3]."""
    if "ph" not in problem.targets:
        return problem
    water = problem.water
    carbon = water.totals.dic * ALKALINITY_MG_PER_EQ
    probes = [
        dosed(water, product, PROBE_G_M3) if product.substance in CARRY_ALKALINITY else None
        for product in problem.products
    ]
    tilts = {}
    for ph in problem.targets["ph"].marks():
        o, q = _line(water, ph)
        moved = [(o, q) if probe is None else _line(probe, ph) for probe in probes]
        tilts[ph] = tuple((o2 - o + (q2 - q) * carbon) / PROBE_G_M3 for o2, q2 in moved)
    return replace(problem, tilts=tilts)
