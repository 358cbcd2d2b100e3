"""The week while it is searched: a board for every day, and the choice made for every unit."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import pyvrp

from .board import Board, DayCost, Routes, routes_of, solution_from
from .costs import Costs
from .day import Day
from .patterns import Catalogue, Unit, build_catalogue
from .problem import Problem
from .screen import Screening, screen

Part = tuple[int, tuple[int, ...]]
"""A day of a choice, and the options of the job to be done then."""


@dataclass(frozen=True, slots=True)
class Model:
    """What does not change during the search; the same in every process."""

    problem: Problem
    screening: Screening
    catalogue: Catalogue
    costs: Costs
    days: tuple[Day | None, ...]
    parts: tuple[tuple[tuple[Part, ...], ...], ...]
    """For every unit that is not linked: the parts of every choice."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """A whole week as plain numbers, to be kept or sent to another process."""

    chosen: tuple[int | None, ...]
    routes: tuple[Routes, ...]
    cost: int


@dataclass(slots=True)
class Penalties:
    """Cost of a unit of load too many, and of a tick too late or too long."""

    load: float
    time: float

    def evaluator(self) -> pyvrp.CostEvaluator:
        """The same for PyVRP."""
        return pyvrp.CostEvaluator([self.load], self.time, 1)

    def of(self, cost: DayCost) -> float:
        """A day's cost with its penalties."""
        return cost.cost + self.load * cost.excess_load + self.time * cost.excess_time


def build_model(problem: Problem) -> Model:
    """Screen the visits, link them, and prepare every day that has both work and people."""
    costs, screening = Costs(problem), screen(problem)
    catalogue = build_catalogue(problem, screening, costs)
    days = []
    for number in range(problem.days):
        day = Day(problem, catalogue, costs, number)
        days.append(None if day.is_empty else day)
    parts = tuple(() if unit.is_linked else _parts(unit, days) for unit in catalogue.units)
    return Model(problem, screening, catalogue, costs, tuple(days), parts)


def _parts(unit: Unit, days: list[Day | None]) -> tuple[tuple[Part, ...], ...]:
    found = []
    for choice in unit.choices:
        parts = []
        for work in choice.work:
            day = days[work.day]
            assert day is not None, "screening leaves no visit on a day without people"
            parts.append((work.day, day.options.of_job[work.jobs[0]]))
        found.append(tuple(parts))
    return tuple(found)


class Week:
    """The state of the search."""

    def __init__(self, model: Model, seed: int) -> None:
        self.model = model
        rng = pyvrp.RandomNumberGenerator(seed=seed)
        self.boards: list[Board | None] = [None if day is None else Board(day, rng) for day in model.days]
        self.chosen: list[int | None] = [None] * len(model.catalogue.units)
        self.linked_on = _linked_on(model)

    def board(self, day: int) -> Board:
        """The board of a day that has one."""
        board = self.boards[day]
        assert board is not None
        return board

    def live_boards(self) -> list[Board]:
        """The boards of all days that have one."""
        return [board for board in self.boards if board is not None]

    def work_options(self, unit: int, choice: int) -> Iterable[tuple[int, tuple[int, ...]]]:
        """(day, options) of every job of a choice, linked or not."""
        if self.model.parts[unit]:
            return self.model.parts[unit][choice]
        return [
            (work.day, self.board(work.day).day.options.of_job[job])
            for work in self.model.catalogue.units[unit].choices[choice].work
            for job in work.jobs
        ]

    def take_off(self, unit: int) -> set[int]:
        """Remove a unit from all its days; returns the days touched."""
        choice = self.chosen[unit]
        touched: set[int] = set()
        if choice is None:
            return touched
        for day, options in self.work_options(unit, choice):
            self.board(day).take_off(options)
            touched.add(day)
        self.chosen[unit] = None
        return touched

    def constant(self, unit: int) -> int:
        """The part of the cost that depends on a unit's choice alone."""
        choice, model = self.chosen[unit], self.model.catalogue.units[unit]
        return model.drop if choice is None else model.choices[choice].constant

    def constants(self) -> int:
        """Moved visits and visits left out, over all units."""
        return sum(self.constant(unit) for unit in range(len(self.chosen)))

    def unserved(self) -> list[int]:
        """Units that are not in any route."""
        return [unit for unit, choice in enumerate(self.chosen) if choice is None]

    def take_off_on(self, unit: int, day: int) -> None:
        """Remove a unit that is not linked from one of its days; its choice stays."""
        self.board(day).take_off(self.options_on(unit, day))

    def options_on(self, unit: int, day: int) -> tuple[int, ...]:
        """The options of a unit that is not linked, on a day of its choice."""
        choice = self.chosen[unit]
        assert choice is not None
        return next(options for d, options in self.model.parts[unit][choice] if d == day)

    def routes_cost(self) -> int:
        """Cost of the accepted routes without penalties."""
        return sum(board.cost.cost for board in self.live_boards())

    def is_feasible(self) -> bool:
        """Whether the accepted state keeps every limit."""
        return all(board.cost.is_feasible for board in self.live_boards())

    def accept_days(self, days: Iterable[int]) -> None:
        """Accept the drafts of some days as they stand."""
        for day in sorted(days):
            board = self.board(day)
            draft = board.draft()
            board.accept(draft, board.cost_of(draft))

    def accepted(self) -> list[pyvrp.Solution | None]:
        """The accepted routes of every day that has any."""
        return [None if board is None else board.accepted for board in self.boards]

    def snapshot(self) -> Snapshot:
        """The accepted state as plain numbers."""
        return self.snapshot_of(self.chosen, self.accepted(), self.routes_cost() + self.constants())

    def snapshot_of(
        self, chosen: Sequence[int | None], solutions: Sequence[pyvrp.Solution | None], cost: int
    ) -> Snapshot:
        """Any state as plain numbers."""
        routes = tuple(() if solution is None else routes_of(solution) for solution in solutions)
        return Snapshot(tuple(chosen), routes, cost)

    def restore(self, snapshot: Snapshot) -> None:
        """Go to a state, perhaps of another process."""
        self.chosen = list(snapshot.chosen)
        for board, routes in zip(self.boards, snapshot.routes, strict=True):
            if board is not None:
                solution = solution_from(board.day.data, routes)
                board.load(solution)
                board.accept(solution, board.cost_of(solution))


def _linked_on(model: Model) -> list[tuple[int, ...]]:
    """For every day: the units with jobs that one technician must do together."""
    found: list[set[int]] = [set() for _ in model.days]
    for unit, item in enumerate(model.catalogue.units):
        for choice in item.choices:
            for work in choice.work:
                if work.together:
                    found[work.day].add(unit)
    return [tuple(sorted(units)) for units in found]


def units_by_option(model: Model) -> list[dict[int, int]]:
    """For every day: option to unit."""
    found: list[dict[int, int]] = [{} for _ in model.days]
    for unit, item in enumerate(model.catalogue.units):
        for choice in item.choices:
            for work in choice.work:
                day = model.days[work.day]
                assert day is not None
                for job in work.jobs:
                    found[work.day].update(dict.fromkeys(day.options.of_job[job], unit))
    return found
