"""Ruin and recreate over the day choices, PyVRP's local search as repair, annealing as acceptance.

The frame is that of G. Schrimpf et al., "Record breaking optimization results using the ruin and
recreate principle", Journal of Computational Physics 159(2), 2000, with simulated annealing.
Weeks that break limits are visited on purpose, at a price that keeps about two in five within them;
only a week within all limits can become the best.
"""

import math
import random
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import pyvrp

from .board import DayCost
from .cooling import Cooling
from .linked import mend_together
from .pool import Pool
from .recombine import recombine
from .recreate import put_back, put_back_on
from .ruin import Removal, Ruin, Style
from .taste import EAGER, NORMAL
from .week import Model, Penalties, Snapshot, Week

CALM = 0.05
"""Factor on the temperature when the week should stay close to the previous one."""
FEASIBLE_SHARE = 0.4
ADAPT_EVERY = 100
LOOK_AROUND_EVERY = 500
STEP = 1.2
STUCK_STEP = 2.0
"""Factor on a penalty when no week of the last hundred kept the limit."""
LEAST_PENALTY = 0.01
LARGEST_FIRST = 0.3
"""Share of rounds in which the largest units are put back first."""
EXCHANGES = 0.05
"""Share of rounds in which two vehicles change places, where vehicles differ."""
EAGER_SHARE = 0.05
"""Share of rounds in which visits are put in although they do not pay one by one."""
HOPE = 3.0
"""How many times its usual gain local search is hoped to gain."""
SAMPLED = 0.1
"""Share of rounds in which local search runs in any case, to learn its usual gain."""
GAIN_WEIGHT = 0.05
UNSERVED_TRIED = 3
"""Units left out that are tried again in every round."""

Draft = tuple[pyvrp.Solution, DayCost]
Drafts = Mapping[int, Draft]


@dataclass(frozen=True, slots=True)
class Manner:
    """How a search goes about it."""

    is_calm: bool = False
    """Whether it stays close to the week it begins with."""
    is_joined: bool = False
    """Whether much of the time goes into joined days: it cools once then, from hotter."""


@dataclass(slots=True)
class _Tally:
    """Weeks seen since the penalties were last changed, and those within the limits."""

    seen: int = 0
    load_ok: int = 0
    time_ok: int = 0


class Search:
    """One process's search: ``step`` until told to stop; the best week is always within all limits."""

    def __init__(self, week: Week, penalties: Penalties, style: Style, seed: int, manner: Manner) -> None:
        self.week = week
        self.penalties = penalties
        self.prices = penalties.evaluator()
        self.rng = random.Random(seed)
        self.ruin = Ruin(week.model, style)
        self.pool = Pool(week.model)
        self.iterations = 0
        self.best_cost: int | None = None
        self._best: tuple[list[int | None], list[pyvrp.Solution | None]] | None = None
        self._size = _sizes(week.model)
        self._tally = _Tally()
        self._usual_gain = 10 * mean_drive(week)
        self._constants = week.constants()
        self._cooling = Cooling(len(week.model.catalogue.units), is_joined=manner.is_joined)
        self._mean_drive = mean_drive(week) * (CALM if manner.is_calm else 1.0)
        self._keep_if_best()
        self._look_around()

    def adopt(self, snapshot: Snapshot) -> None:
        """Continue from a better week that another process found, unless this one starts afresh anyway."""
        if self._cooling.is_only and (self.best_cost is None or snapshot.cost < self.best_cost):
            self.week.restore(snapshot)
            self._constants = self.week.constants()
            self._keep_if_best()

    def best(self) -> Snapshot | None:
        """The best week so far, as plain numbers."""
        if self._best is None or self.best_cost is None:
            return None
        chosen, solutions = self._best
        return self.week.snapshot_of(chosen, solutions, self.best_cost)

    def recombine(self, best: Snapshot, until: float | None) -> Snapshot | None:
        """The routes met so far put together anew, if that is better than the best week known."""
        before = self.week.snapshot()
        found = recombine(self.week, self.pool, best, until)
        self.week.restore(before)
        return found

    def step(self, fraction: float) -> None:
        """One round of ruin and recreate, when ``fraction`` of the search is over."""
        week = self.week
        exchanged = self.ruin.exchange(week, self.rng) if self.rng.random() < EXCHANGES else None
        removals = self.ruin.pick(week, self.rng) if exchanged is None else []
        waiting = week.unserved()
        if len(waiting) > UNSERVED_TRIED:
            waiting = self.rng.sample(waiting, UNSERVED_TRIED)
        before = {unit: week.chosen[unit] for unit in (*(unit for unit, _ in removals), *waiting)}
        constants = self._constants - sum(map(week.constant, before))
        touched = self._remove(removals) if exchanged is None else {exchanged}
        touched |= self._recreate([*removals, *((unit, None) for unit in waiting)])
        constants += sum(map(week.constant, before))
        if not self._try_days(touched, constants, fraction):
            for day in touched:
                week.board(day).go_back()
            for unit, choice in before.items():
                week.chosen[unit] = choice
        self.iterations += 1
        if self.iterations % LOOK_AROUND_EVERY == 0:
            self._look_around()
        if self.iterations % ADAPT_EVERY == 0:
            self._adapt()

    def _try_days(self, touched: Iterable[int], constants: int, fraction: float) -> bool:
        """Improve the days touched and accept them if the week is good enough; whether it was.

        A week so bad that local search would have to gain several times its usual gain is given up.
        """
        days = sorted(touched)
        drafts = {day: self._draft(day) for day in days}
        allowed = self._allowed(fraction)
        rough = self._difference(drafts, constants)
        is_sample = self.rng.random() < SAMPLED
        if rough - HOPE * self._usual_gain > allowed and not is_sample:
            return False
        drafts = {day: self._improve(day, drafts[day][0]) for day in days}
        difference = self._difference(drafts, constants)
        if is_sample:
            self._usual_gain += GAIN_WEIGHT * (rough - difference - self._usual_gain)
        self._count(drafts)
        if difference >= allowed:
            return False
        self._accept(drafts, constants)
        return True

    def _draft(self, day: int) -> Draft:
        board = self.week.board(day)
        solution = board.draft()
        return solution, board.rough_cost_of(solution)

    def _allowed(self, fraction: float) -> float:
        """By how much a week may be dearer than the current one to be accepted all the same."""
        temperature = self._mean_drive * self._cooling.temperature(self.iterations, fraction)
        return -temperature * math.log(max(self.rng.random(), 1e-12))

    def _difference(self, drafts: Drafts, constants: int) -> float:
        """Cost of the week with these days, penalties included, less that of the current week."""
        days = (
            self.penalties.of(cost) - self.penalties.of(self.week.board(day).cost)
            for day, (_, cost) in drafts.items()
        )
        return constants - self._constants + sum(days)

    def _count(self, drafts: Drafts) -> None:
        """Note whether the week with these days keeps the limits."""
        costs = [board.cost for day, board in enumerate(self.week.boards) if board and day not in drafts]
        costs += [cost for _, cost in drafts.values()]
        self._tally.seen += 1
        self._tally.load_ok += all(cost.excess_load == 0 for cost in costs)
        self._tally.time_ok += all(cost.excess_time == 0 for cost in costs)

    def _remove(self, removals: Iterable[Removal]) -> set[int]:
        touched: set[int] = set()
        for unit, day in removals:
            if day is None:
                touched |= self.week.take_off(unit)
            else:
                self.week.take_off_on(unit, day)
                touched.add(day)
        return touched

    def _recreate(self, removals: list[Removal]) -> set[int]:
        touched: set[int] = set()
        self.rng.shuffle(removals)
        taste = EAGER if self.rng.random() < EAGER_SHARE else NORMAL
        if self.rng.random() < LARGEST_FIRST:
            removals.sort(key=lambda removal: -self._size[removal[0]])
        for unit, day in removals:
            if day is None:
                touched |= put_back(self.week, unit, self.prices, self.rng, taste)
            else:
                put_back_on(self.week, unit, day, self.prices)
        return touched

    def _improve(self, day: int, before: pyvrp.Solution) -> Draft:
        """Local search on one day; nothing to do when the day is as it was."""
        board = self.week.board(day)
        if before == board.accepted:
            return board.accepted, board.cost
        board.shuffle()
        solution = board.search(before, self.prices)
        if self.week.linked_on[day] and mend_together(self.week, day, self.prices):
            solution = board.draft()
        cost = board.cost_of(solution)
        if cost.is_feasible:
            return solution, cost
        cost_before = board.cost_of(before)
        if self.penalties.of(cost_before) < self.penalties.of(cost):  # PyVRP knows no breaks
            board.load(before)
            return before, cost_before
        return solution, cost

    def _accept(self, drafts: Drafts, constants: int) -> None:
        for day, (solution, cost) in drafts.items():
            board = self.week.board(day)
            board.accept(solution, cost)
            self.pool.note(board, solution)
        self._constants = constants
        self._keep_if_best()

    def _keep_if_best(self) -> None:
        week = self.week
        if not week.is_feasible():
            return
        cost = week.routes_cost() + self._constants
        if self.best_cost is None or cost < self.best_cost:
            self.best_cost = cost
            self._best = (list(week.chosen), week.accepted())

    def _look_around(self) -> None:
        for board in self.week.live_boards():
            board.look_around()

    def _adapt(self) -> None:
        """Make breaking a limit dearer when too few weeks keep it, cheaper when many do."""
        tally, share = self._tally, math.sqrt(FEASIBLE_SHARE)
        if tally.seen == 0:
            return
        self.penalties.load *= _factor(tally.load_ok / tally.seen, share)
        self.penalties.time *= _factor(tally.time_ok / tally.seen, share)
        self.penalties.load = max(self.penalties.load, LEAST_PENALTY)
        self.penalties.time = max(self.penalties.time, LEAST_PENALTY)
        self.prices = self.penalties.evaluator()
        self._tally = _Tally()


def _factor(share: float, wanted: float) -> float:
    if share == 0:
        return STUCK_STEP
    return STEP if share < wanted else 1 / STEP


def _sizes(model: Model) -> list[int]:
    """Load times frequency of each unit, or time when nothing has a load."""
    visits, sizes = model.problem.visits, []
    by_load = any(visit.load for visit in visits)
    for unit in model.catalogue.units:
        times = max(len(choice.work) for choice in unit.choices)
        sizes.append(times * sum(visits[v].load if by_load else visits[v].service for v in unit.visits))
    return sizes


def mean_drive(week: Week) -> float:
    """Mean cost of a drive in the accepted week, time priced as the plan prices it."""
    costs, drives, total = week.model.costs, 0, 0
    for board in week.live_boards():
        solution = board.accepted
        drives += solution.num_clients() + solution.num_routes()
        on_the_road = solution.duration() - sum(route.service_duration() for route in solution.routes())
        total += solution.distance() + costs.duration * on_the_road
    return total / drives if drives else 1.0
