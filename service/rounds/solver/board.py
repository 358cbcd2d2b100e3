"""The routes of one day while the search changes them: take jobs off, find places, search locally.

Uses the inner search of PyVRP 0.14 (``pyvrp.search``), which its documentation does not promise to
keep; ``tests/rounds/test_board.py`` notices when it changes.
"""

from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pyvrp
from pyvrp.search import (
    InsertOptionalClient,
    LocalSearch,
    PerturbationManager,
    PerturbationParams,
    Relocate1,
    Relocate2,
    Relocate3,
    RelocateAlternative,
    ReplaceGroup,
    Swap11,
    Swap21,
    Swap22,
    SwapTails,
    _search,
)

from .costs import LONGEST_ROUTE
from .day import NEIGHBOURS, PRESENT_NEIGHBOURS, PRIZE, Day
from .options import FAR_FUTURE
from .timing import Step, limits, schedule

KEEPING_MOVES = (Relocate1, Relocate2, Relocate3, Swap11, Swap21, Swap22, SwapTails)
"""Moves that neither add nor remove a client."""
EXCHANGING_MOVES = (RelocateAlternative, ReplaceGroup)
"""Moves that may exchange an option for another one of the same job."""
MOST_REMEMBERED = 200_000
MANY_STOPS = 30
"""Stops of a day from which on local search looks only around what was changed."""
NEAR_CHANGED = 3
"""Stops nearest to one that was changed that may be moved as well."""

BoardRoute = _search.Route
"""A route of the search: one vehicle's stops, from its start to its end."""

Neighbours = dict[pyvrp.Activity, list[pyvrp.Activity]]

Routes = tuple[tuple[int, tuple[int, ...]], ...]
"""Routes of a day as (vehicle type, options in order)."""


@dataclass(frozen=True, slots=True)
class DayCost:
    """Cost of a day's routes in units, and by how much they break limits."""

    cost: int
    excess_load: int
    excess_time: int

    @property
    def excess(self) -> int:
        """All that breaks a limit, added up; a visit by the wrong person counts as the most."""
        return self.excess_load + self.excess_time + (LONGEST_ROUTE if self.cost >= LONGEST_ROUTE else 0)

    @property
    def is_feasible(self) -> bool:
        """Whether every limit is kept."""
        return self.excess == 0


@dataclass(frozen=True, slots=True)
class Place:
    """The best place found for an option: after position ``at`` of a route, at a cost."""

    cost: int
    option: int
    route: BoardRoute
    at: int


class Board:
    """A day's routes as PyVRP's search holds them, with the last accepted state to go back to."""

    def __init__(self, day: Day, rng: pyvrp.RandomNumberGenerator) -> None:
        self.day = day
        data = day.data
        self._draft = _search.Solution(data)
        self.routes: list[BoardRoute] = list(self._draft.routes)
        self.nodes: list[_search.Node] = list(self._draft.clients)
        self._names = [pyvrp.Activity(pyvrp.ActivityType.CLIENT, i) for i in range(len(self.nodes))]
        neighbours = {
            name: [self._names[o] for o in row]
            for name, row in zip(self._names, day.near[:, :NEIGHBOURS].tolist(), strict=True)
        }
        self._space = _search.SearchSpace(data, neighbours)
        self._rng = rng
        self._insert = InsertOptionalClient(data)
        self._insert.init(self._draft)
        self._local_search = self._make_local_search(data, rng, neighbours)
        self._lists: Neighbours = neighbours
        self._nobody: Neighbours = {name: [] for name in self._names}
        self._is_narrow = False
        self._changed: set[int] = set()
        self._known: dict[tuple[int, tuple[int, ...]], DayCost] = {}
        self.accepted = pyvrp.Solution(data, [])
        self.cost = DayCost(0, 0, 0)

    def _make_local_search(
        self, data: pyvrp.ProblemData, rng: pyvrp.RandomNumberGenerator, neighbours: Neighbours
    ) -> LocalSearch:
        search = LocalSearch(data, rng, neighbours, PerturbationManager(PerturbationParams(0, 0)))
        moves = (*KEEPING_MOVES, *(EXCHANGING_MOVES if self.day.options.exclusive else ()))
        for move in moves:
            if move.supports(data):
                search.add_operator(move(data))
        return search

    def look_around(self) -> None:
        """Let the search look mostly at options that are in some route now, and a few that may come."""
        near = self.day.near
        present = np.array([node.route is not None for node in self.nodes])[near]
        chosen = present & (present.cumsum(axis=1) <= PRESENT_NEIGHBOURS)
        room = NEIGHBOURS - chosen.sum(axis=1, keepdims=True)
        chosen |= ~chosen & ((~chosen).cumsum(axis=1) <= room)
        rows, columns = np.nonzero(chosen)
        names = self._names
        lists: list[list[pyvrp.Activity]] = [[] for _ in names]
        for row, option in zip(rows.tolist(), near[rows, columns].tolist(), strict=True):
            lists[row].append(names[option])
        neighbours = dict(zip(names, lists, strict=True))
        self._space.neighbours = neighbours
        self._local_search.neighbours = neighbours
        self._lists = neighbours

    def shuffle(self) -> None:
        """Change the order in which idle vehicles are tried."""
        self._space.shuffle(self._rng)

    def holds(self, option: int) -> bool:
        """Whether an option is in some route."""
        return self.nodes[option].route is not None

    def route_of(self, options: Iterable[int]) -> "BoardRoute | None":
        """The route that holds one of a job's options."""
        for option in options:
            route = self.nodes[option].route
            if route is not None:
                return route
        return None

    def take_off(self, options: Iterable[int]) -> None:
        """Remove a job, whichever of its options is in use."""
        for option in options:
            node = self.nodes[option]
            route = node.route
            if route is not None:
                at = node.pos
                del route[at]
                route.update()
                self._change(route, at - 1, at)

    def _change(self, route: BoardRoute, first: int, last: int) -> None:
        """Note that local search should look at the stops between two positions."""
        for at in range(max(first, 1), min(last, len(route) - 2) + 1):
            self._changed.add(route[at].idx)

    def options_in(self, route: BoardRoute) -> list[int]:
        """The options of a route in order."""
        return [node.idx for node in route if node.is_client()]

    def best_place(self, options: Sequence[int], prices: pyvrp.CostEvaluator) -> Place:
        """The cheapest place for a job under the current prices, over all its windows."""
        best = self._best_place(options[0], prices)
        for option in options[1:]:
            place = self._best_place(option, prices)
            if place.cost < best.cost:
                best = place
        return best

    def _best_place(self, option: int, prices: pyvrp.CostEvaluator) -> Place:
        """After one of the option's neighbours, at the head of a route, or in an idle vehicle."""
        node = self.nodes[option]
        self._draft.insert(node, self._space, prices, True)
        route = node.route
        assert route is not None
        at = node.pos - 1
        del route[node.pos]
        route.update()
        evaluate = self._insert.evaluate
        cost = evaluate(node, route[at], prices)[0]
        for other in self.routes:
            if other.num_clients():
                ahead = evaluate(node, other[0], prices)[0]
                if ahead < cost:
                    cost, route, at = ahead, other, 0
        return Place(cost + PRIZE, option, route, at)

    def best_place_in(self, option: int, route: BoardRoute, prices: pyvrp.CostEvaluator) -> Place:
        """The cheapest place for an option within one route."""
        node, evaluate = self.nodes[option], self._insert.evaluate
        costs = [evaluate(node, route[at], prices)[0] for at in range(len(route) - 1)]
        at = min(range(len(costs)), key=costs.__getitem__)
        return Place(costs[at] + PRIZE, option, route, at)

    def exchange(self, one: BoardRoute, other: BoardRoute) -> None:
        """Let two vehicles drive each other's stops."""
        contents = [[node for node in route if node.is_client()] for route in (other, one)]
        for route in (one, other):
            for _ in range(len(route) - 2):
                del route[1]
        for route, nodes in zip((one, other), contents, strict=True):
            for at, node in enumerate(nodes, start=1):
                route.insert(at, node)
            route.update()

    def put(self, place: Place) -> None:
        """Insert an option where ``best_place`` said."""
        place.route.insert(place.at + 1, self.nodes[place.option])
        place.route.update()
        self._change(place.route, place.at, place.at + 2)

    def draft(self) -> pyvrp.Solution:
        """The routes as they stand."""
        return self._draft.unload()

    def load(self, solution: pyvrp.Solution) -> None:
        """Replace the routes."""
        self._draft.load(solution)

    def accept(self, solution: pyvrp.Solution, cost: DayCost) -> None:
        """Make a solution the state to go back to."""
        self.accepted, self.cost = solution, cost
        self._changed.clear()

    def go_back(self) -> None:
        """Return to the last accepted state."""
        self._draft.load(self.accepted)
        self._changed.clear()

    def search(self, solution: pyvrp.Solution, prices: pyvrp.CostEvaluator) -> pyvrp.Solution:
        """Improve the routes without adding or removing a job; the draft follows."""
        self._aim(solution)
        found = self._local_search(solution, prices, exhaustive=True)
        self._draft.load(found)
        return found

    def _aim(self, solution: pyvrp.Solution) -> None:
        """On a day with many stops let the search look only around those that were changed."""
        is_narrow = bool(self._changed) and solution.num_clients() >= MANY_STOPS
        if not (is_narrow or self._is_narrow):
            return
        self._is_narrow = is_narrow
        lists = self._lists
        if is_narrow:
            around = {self._names[option] for option in self._changed}
            around.update(*(lists[name][:NEAR_CHANGED] for name in list(around)))
            lists = self._nobody | {name: lists[name] for name in around}
        self._local_search.neighbours = lists

    def cost_of(self, solution: pyvrp.Solution) -> DayCost:
        """What the routes cost and break; with breaks or overtime, by the exact times."""
        return self.rough_cost_of(solution) if self.day.is_exact else self._timed_cost(solution)

    def rough_cost_of(self, solution: pyvrp.Solution) -> DayCost:
        """The same as PyVRP sees it, on a clock that stands still during breaks."""
        return DayCost(
            solution.distance_cost() + solution.duration_cost() + solution.fixed_vehicle_cost(),
            solution.excess_load()[0],
            solution.time_warp(),
        )

    def _timed_cost(self, solution: pyvrp.Solution) -> DayCost:
        cost = excess_load = excess_time = 0
        for vehicle_type, options in routes_of(solution):
            route = self.route_cost(vehicle_type, options)
            cost += route.cost
            excess_load += route.excess_load
            excess_time += route.excess_time
        return DayCost(cost, excess_load, excess_time)

    def route_cost(self, vehicle_type: int, options: tuple[int, ...]) -> DayCost:
        """Exact cost of one route, and by how much it breaks limits."""
        key = (vehicle_type, options)
        if key not in self._known:
            if len(self._known) > MOST_REMEMBERED:
                self._known.clear()
            self._known[key] = self._price_route(vehicle_type, options)
        return self._known[key]

    def _price_route(self, vehicle_type: int, options: tuple[int, ...]) -> DayCost:
        day, problem, costs = self.day, self.day.problem, self.day.costs
        number = day.types[vehicle_type][0]
        vehicle = day.vehicles[number]
        technician = problem.technicians[vehicle.technician]
        steps = [self.step(option) for option in options]
        places = [technician.start, *(step.location for step in steps), technician.end]
        cost = sum(int(costs.drives[a, b]) for a, b in pairwise(places)) + costs.vehicle_day
        cost += sum(int(day.entry_costs[number, option]) for option in options)
        if costs.duration or vehicle.shift.max_duration is not None:
            timing = schedule(problem.travel_rows, technician, vehicle.shift, steps)
            excess, overtime = timing.excess, timing.overtime
            cost += costs.duration * timing.duration
        else:
            excess, overtime = limits(problem.travel_rows, technician, vehicle.shift, steps)
        load = sum(day.job(option).load for option in options)
        over = 0 if technician.capacity is None else max(0, load - technician.capacity)
        return DayCost(cost + costs.overtime * overtime, over, excess)

    def broken_routes(self) -> list[tuple[int, tuple[int, ...]]]:
        """Accepted routes that break a limit."""
        return [
            (vehicle_type, options)
            for vehicle_type, options in routes_of(self.accepted)
            if not self.route_cost(vehicle_type, options).is_feasible
        ]

    def relief(self, vehicle_type: int, options: tuple[int, ...], gone: Container[int]) -> int:
        """Excess a route loses when some options are taken out of it."""
        rest = tuple(option for option in options if option not in gone)
        return self.route_cost(vehicle_type, options).excess - self.route_cost(vehicle_type, rest).excess

    def step(self, option: int) -> Step:
        """An option as a stop to be timed."""
        chosen, job = self.day.options.all[option], self.day.job(option)
        windows = None if chosen.closes >= FAR_FUTURE else ((chosen.opens, chosen.closes),)
        return Step(job.location, job.service, windows)


def routes_of(solution: pyvrp.Solution) -> Routes:
    """Routes as plain numbers."""
    return tuple(route_of(route) for route in solution.routes())


def route_of(route: pyvrp.Route) -> tuple[int, tuple[int, ...]]:
    """One route as (vehicle type, options in order)."""
    return route.vehicle_type(), tuple(stop.idx for stop in list(route)[1:-1])


def solution_from(data: pyvrp.ProblemData, routes: Routes) -> pyvrp.Solution:
    """The reverse of ``routes_of``."""
    return pyvrp.Solution(
        data, [pyvrp.Route(data, list(options), vehicle_type) for vehicle_type, options in routes]
    )
