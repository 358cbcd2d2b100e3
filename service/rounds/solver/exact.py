"""Moving single jobs by their exact price, on days with breaks or overtime, which PyVRP cannot judge."""

from collections.abc import Callable, Iterator

from .board import Board, Routes
from .costs import FORBIDDEN
from .day import Day

Vehicles = list[tuple[int, tuple[int, ...]]]
"""Every vehicle as (vehicle type, options in order), idle ones with no options."""


def move_jobs(board: Board, routes: Routes, is_over: Callable[[], bool]) -> Routes:
    """Move one job after the other to where the exact cost falls, until nothing helps or it must stop."""
    vehicles = _vehicles(board, routes)
    improved = True
    while improved and not is_over():
        improved = False
        for vehicle in range(len(vehicles)):
            for option in () if is_over() else vehicles[vehicle][1]:
                if option in vehicles[vehicle][1] and _move(board, vehicles, vehicle, option):
                    improved = True
    return tuple((vehicle_type, options) for vehicle_type, options in vehicles if options)


def _vehicles(board: Board, routes: Routes) -> Vehicles:
    """The routes, and one idle vehicle of every type that has one left."""
    vehicles = list(routes)
    for vehicle_type, alike in enumerate(board.day.types):
        if sum(t == vehicle_type for t, _ in routes) < len(alike):
            vehicles.append((vehicle_type, ()))
    return vehicles


def _move(board: Board, vehicles: Vehicles, source: int, option: int) -> bool:
    """Move a job to its best place if that is cheaper; whether it was."""
    vehicle_type, options = vehicles[source]
    at = options.index(option)
    rest = (*options[:at], *options[at + 1 :])
    saved = _cost(board, vehicle_type, options) - _cost(board, vehicle_type, rest)
    best, target, longer = 0, -1, rest
    for number, (other_type, others) in enumerate(vehicles):
        stops = rest if number == source else others
        before = _cost(board, other_type, stops)
        for tried in _insertions(board, other_type, stops, option, saved):
            added = _cost(board, other_type, tried) - before
            if added - saved < best:
                best, target, longer = added - saved, number, tried
    if target < 0:
        return False
    vehicles[source] = (vehicle_type, rest)
    vehicles[target] = (vehicles[target][0], longer)
    return True


def _insertions(
    board: Board, vehicle_type: int, stops: tuple[int, ...], option: int, saved: int
) -> Iterator[tuple[int, ...]]:
    """The stops with the job put in wherever the detour alone costs less than what is saved."""
    day, drives = board.day, board.day.costs.drives
    vehicle = day.types[vehicle_type][0]
    fitting = [o for o in _alike(day, option) if day.entry_costs[vehicle, o] < FORBIDDEN]
    if not fitting:
        return
    technician = day.problem.technicians[day.vehicles[vehicle].technician]
    place = day.job(option).location
    places = [technician.start, *(day.job(o).location for o in stops), technician.end]
    for at in range(len(stops) + 1):
        before, after = places[at], places[at + 1]
        if drives[before, place] + drives[place, after] - drives[before, after] < saved:
            yield from ((*stops[:at], o, *stops[at:]) for o in fitting)


def _alike(day: Day, option: int) -> list[int]:
    """The options of a job for the same span of time, before or after the break."""
    options = day.options.all
    chosen = options[option]
    span = (chosen.opens, chosen.closes)
    return [o for o in day.options.of_job[chosen.job] if (options[o].opens, options[o].closes) == span]


def _cost(board: Board, vehicle_type: int, options: tuple[int, ...]) -> int:
    """Exact cost of a route; more than any saving when it breaks a limit."""
    if not options:
        return 0
    cost = board.route_cost(vehicle_type, options)
    return cost.cost + (0 if cost.is_feasible else FORBIDDEN)
