"""The treatment as a linear programme: which grams bring every figure inside its limits.

Everything is linear in grams except pH, and pH nearly so (see lines). The programme is solved, the lines
are drawn again at the water it leads to, and so on until the grams stand still.

    least  1e6 (limits missed) + 1e3 (aims missed) + grams per m3 + 400 (fraction of water replaced)

each miss counted in widths of its own range, those of sanitiser and pH thirtyfold.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import Final

from service.chemistry.treatment.levels import PLACE, Levels, mixed
from service.chemistry.treatment.lines import Lines, draw_lines, water_tilt
from service.chemistry.treatment.problem import WATER_PRICE, Mix, Problem
from service.chemistry.treatment.simplex import minimise
from service.chemistry.treatment.targets import AIM_PRICE, LIMIT_PRICE, Target

MOST_ROUNDS: Final = 8
STILL_G_M3: Final = 0.02
INDEX_AIM: Final = 0.3
INDEX_SPAN: Final = 0.6
BANK_SPAN_MG_L: Final = 50.0
INF: Final = float("inf")


def converge(
    problem: Problem,
    allowed: Collection[int],
    *,
    fraction: float | None = 0.0,
    aims: bool = True,
    index: bool = False,
    start: Mix | None = None,
    most_water: float = 1.0,
) -> Mix:
    """The best mix, the lines drawn again until it stands still.

    allowed   Places of the products that may be used.
    fraction  Share of water replaced, or None for the programme to choose.
    aims      False: limits only.
    index     True: the saturation index belongs to the aims.
    most_water  Most that may be replaced where the programme chooses.
    """
    mix = start or Mix(tuple(0.0 for _ in problem.products), fraction or 0.0)
    for _ in range(MOST_ROUNDS):
        lines = draw_lines(problem, mix, allowed if index else ())
        if fraction is None:
            lines = replace(lines, tilt=water_tilt(problem, mix, lines))
        following = solve_once(problem, lines, allowed, fraction=fraction, aims=aims, most_water=most_water)
        moved = max((abs(a - b) for a, b in zip(mix.grams, following.grams, strict=True)), default=0.0)
        still = moved < STILL_G_M3 and abs(mix.fraction - following.fraction) < 1e-4
        mix = following
        if still:
            break
    return mix


def solve_once(
    problem: Problem,
    lines: Lines,
    allowed: Collection[int],
    *,
    fraction: float | None,
    aims: bool,
    most_water: float = 1.0,
) -> Mix:
    """The best mix with the lines as they are drawn."""
    builder = _Builder(len(problem.products))
    for j in range(len(problem.products)):
        builder.uppers[j] = problem.most_g_m3[j] if j in allowed else 0.0
    free_water = fraction is None and problem.fill_levels is not None
    builder.uppers[-1] = most_water if free_water else 0.0
    base = problem.start
    if fraction and problem.fill_levels is not None:
        base = mixed(problem.start, problem.fill_levels, fraction)
    for name, target in problem.targets.items():
        if name == "ph":
            _add_ph_rows(builder, problem, target, lines, base, free_water=free_water, aims=aims)
        else:
            row, constant = _level_row(problem, name, base, free_water=free_water)
            builder.between(row, constant, target if aims else target.limits_only())
    if problem.bank:
        row, constant = _level_row(problem, "bromide_mg_l", base, free_water=free_water)
        builder.at_least_zero(row, constant)
        builder.at_least(row, constant - problem.bank_mg_l, price=AIM_PRICE, scale=BANK_SPAN_MG_L)
    if lines.index is not None and aims:
        constant = lines.index - sum(s * x for s, x in zip(lines.slopes, lines.at, strict=True))
        aim = Target("saturation_index", None, None, -INDEX_AIM, INDEX_AIM, INDEX_SPAN)
        builder.between([*lines.slopes, 0.0], constant, aim)
    answer = builder.answer()
    return replace(answer, fraction=fraction) if fraction is not None else answer


def _level_row(problem: Problem, name: str, base: Levels, *, free_water: bool) -> tuple[list[float], float]:
    place = PLACE[name]
    row = [column[place] for column in problem.columns]
    fill = problem.fill_levels
    row.append(fill[place] - problem.start[place] if free_water and fill is not None else 0.0)
    return row, base[place]


def _add_ph_rows(
    builder: _Builder,
    problem: Problem,
    target: Target,
    lines: Lines,
    base: Levels,
    *,
    free_water: bool,
    aims: bool,
) -> None:
    alkalinity, at_zero = _level_row(problem, "total_alkalinity_mg_l", base, free_water=free_water)
    carbon, carbon_at_zero = _level_row(problem, "carbon", base, free_water=free_water)
    per_ph = _buffer(lines, base)
    for ph, sign, price in target.sides():
        if price < LIMIT_PRICE and not aims:
            continue
        o, q = lines.ph[ph]
        row = [sign * (a - q * c) for a, c in zip(alkalinity, carbon, strict=True)]
        constant = sign * (at_zero - q * carbon_at_zero - o)
        tilts = (*problem.tilts.get(ph, (0.0,) * len(lines.at)), lines.tilt.get(ph, 0.0))
        for j, (tilt, at) in enumerate(zip(tilts, (*lines.at, lines.fraction), strict=True)):
            row[j] -= sign * tilt
            constant += sign * tilt * at
        builder.at_least(row, constant, price=price, scale=per_ph * target.span)


def _buffer(lines: Lines, base: Levels) -> float:
    """Alkalinity between the outermost lines, [mg/L per unit of pH], at the carbon there is."""
    low, high = min(lines.ph), max(lines.ph)
    if high <= low:
        return 10.0
    carbon = max(base[PLACE["carbon"]], 1.0)
    (o1, q1), (o2, q2) = lines.ph[low], lines.ph[high]
    return max((o2 - o1 + (q2 - q1) * carbon) / (high - low), 0.1)


class _Builder:
    """Collects rows whose misses are paid for, so that a feasible start always exists."""

    def __init__(self, products: int) -> None:
        self.decisions = products + 1
        self.costs = [1.0] * products + [WATER_PRICE]
        self.uppers = [INF] * self.decisions
        self.rows: list[dict[int, float]] = []
        self.right: list[float] = []
        self.basis: list[int] = []
        self.misses: list[tuple[int, float, float]] = []

    def _variable(self, cost: float, upper: float) -> int:
        self.costs.append(cost)
        self.uppers.append(upper)
        return len(self.costs) - 1

    def _miss(self, price: float, scale: float, upper: float) -> int:
        place = self._variable(price / scale, upper)
        self.misses.append((place, price, scale))
        return place

    def between(self, row: Sequence[float], constant: float, target: Target) -> None:
        """Row of a level with limits and aims: row . x + constant inside them, or the miss is paid."""
        floor = target.aim_low if target.aim_low is not None else target.low
        ceiling = target.aim_high if target.aim_high is not None else target.high
        if floor is None and ceiling is None:
            return
        if floor is None:
            # No level is ever negative.
            floor = min(0.0, ceiling if ceiling is not None else 0.0)
        entries = {j: value for j, value in enumerate(row) if value}
        short = self._short_side(target, floor)
        over = self._over_side(target, ceiling)
        room = self._variable(0.0, INF if ceiling is None else max(ceiling - floor, 0.0))
        entries.update(dict.fromkeys(short, 1.0))
        entries.update(dict.fromkeys((room, *over), -1.0))
        need = floor - constant
        if need > 0:
            self._append(entries, need, self._start(short, need), sign=1.0)
        else:
            self._append(entries, -need, self._start([room, *over], -need), sign=-1.0)

    def _short_side(self, target: Target, floor: float) -> list[int]:
        if target.low is None:
            return [self._miss(AIM_PRICE, target.span, INF)]
        return [
            self._miss(AIM_PRICE, target.span, max(floor - target.low, 0.0)),
            self._miss(target.limit_price, target.span, INF),
        ]

    def _over_side(self, target: Target, ceiling: float | None) -> list[int]:
        if ceiling is None:
            return []
        if target.high is None:
            return [self._miss(AIM_PRICE, target.span, INF)]
        return [
            self._miss(AIM_PRICE, target.span, max(target.high - ceiling, 0.0)),
            self._miss(target.limit_price, target.span, INF),
        ]

    def _start(self, places: Sequence[int], value: float) -> int:
        return next(place for place in places if value <= self.uppers[place])

    def at_least(self, row: Sequence[float], constant: float, *, price: float, scale: float) -> None:
        """row . x + constant >= 0, or the miss is paid at price / scale."""
        entries = {j: value for j, value in enumerate(row) if value}
        short, surplus = self._miss(price, scale, INF), self._variable(0.0, INF)
        entries[short], entries[surplus] = 1.0, -1.0
        if constant < 0:
            self._append(entries, -constant, short, sign=1.0)
        else:
            self._append(entries, constant, surplus, sign=-1.0)

    def at_least_zero(self, row: Sequence[float], constant: float) -> None:
        """row . x + constant >= 0 without exception; holds at x = 0."""
        entries = {j: value for j, value in enumerate(row) if value}
        surplus = self._variable(0.0, INF)
        entries[surplus] = -1.0
        self._append(entries, max(constant, 0.0), surplus, sign=-1.0)

    def _append(self, entries: dict[int, float], right: float, basic: int, *, sign: float) -> None:
        self.rows.append({place: sign * value for place, value in entries.items()})
        self.right.append(right)
        self.basis.append(basic)

    def answer(self) -> Mix:
        """Solves what was collected."""
        width = len(self.costs)
        dense = []
        for row in self.rows:
            line = [0.0] * width
            for place, value in row.items():
                line[place] = value
            dense.append(line)
        x = minimise(self.costs, self.uppers, dense, self.right, self.basis)
        limit = sum(
            price / LIMIT_PRICE * x[place] / scale
            for place, price, scale in self.misses
            if price >= LIMIT_PRICE
        )
        aim = sum(x[place] / scale for place, price, scale in self.misses if price == AIM_PRICE)
        grams = tuple(value if value > 1e-6 else 0.0 for value in x[: self.decisions - 1])
        return Mix(grams, x[self.decisions - 1], limit, aim)
