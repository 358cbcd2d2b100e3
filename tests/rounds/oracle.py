"""The cheapest possible plan of a tiny week, by enumeration and a set-partitioning program.

Every order of every set of visits is tried for every technician and day; HiGHS (highspy 1.16) then
chooses one set for each technician and day and one day choice for each visit, with no gap. The
program is the set-partitioning formulation of vehicle routing: M. L. Balinski and R. E. Quandt,
"On an integer program for a delivery problem", Operations Research 12(2), 1964, 300-304.
Shares no code with the solver. For up to six visits, without links, pins and overtime.
"""

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import highspy

Json = dict[str, Any]


@dataclass(frozen=True)
class Crew:
    """One technician's shift on a day."""

    technician: Json
    shift: Json


def cheapest_cost(request: Json) -> float:
    """Cost of the best plan; infinite when a required visit cannot be served."""
    visits = request["visits"]
    crews = [Crew(t, shift) for t in request["technicians"] for shift in t["shifts"]]
    sets = {crew_number: dict(_sets(request, crew)) for crew_number, crew in enumerate(crews)}
    solver = highspy.Highs()
    solver.silent()
    solver.setOptionValue("mip_rel_gap", 0.0)
    solver.setOptionValue("mip_abs_gap", 0.0)
    rounds: dict[tuple[int, frozenset[int]], Any] = {}
    for number, costs in sets.items():
        for served, cost in costs.items():
            rounds[number, served] = solver.addBinary(obj=cost)
        if costs:
            solver.addConstr(sum(rounds[number, served] for served in costs) <= 1)
    for v, visit in enumerate(visits):
        choices = [solver.addBinary() for _ in visit["day_choices"]]
        dropped = solver.addBinary(obj=visit["drop_penalty"]) if visit.get("optional") else None
        chosen = sum(choices) if dropped is None else sum(choices) + dropped
        solver.addConstr(chosen == 1)
        for day in range(request["days"]):
            holding = [
                variable
                for (number, served), variable in rounds.items()
                if v in served and crews[number].shift["day"] == day
            ]
            wanted = [c for c, days in zip(choices, visit["day_choices"], strict=True) if day in days]
            if holding or wanted:
                solver.addConstr(_sum(holding) - _sum(wanted) == 0)
    solver.minimize()
    if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return math.inf
    return float(solver.getInfo().objective_function_value)


def _sum(variables: list[Any]) -> Any:
    return (
        sum(variables[1:], start=variables[0] * 1) if variables else highspy.highs.highs_linear_expression()
    )


def _sets(request: Json, crew: Crew) -> Any:
    """Every set of visits a crew can serve, with its cheapest order's cost."""
    able = [v for v, visit in enumerate(request["visits"]) if _may_serve(crew, visit)]
    for size in range(1, len(able) + 1):
        for chosen in itertools.combinations(able, size):
            load = sum(request["visits"][v]["load"] for v in chosen)
            if crew.technician["capacity"] is not None and load > crew.technician["capacity"]:
                continue
            costs = (_order_cost(request, crew, order) for order in itertools.permutations(chosen))
            best = min(costs)
            if math.isfinite(best):
                yield frozenset(chosen), best


def _may_serve(crew: Crew, visit: Json) -> bool:
    day = crew.shift["day"]
    return (
        any(day in days for days in visit["day_choices"])
        and set(visit.get("needs") or ()) <= set(crew.technician["skills"])
        and crew.technician["id"] not in (visit.get("not_with") or ())
    )


def _order_cost(request: Json, crew: Crew, order: tuple[int, ...]) -> float:
    """Cost of one order of stops, infinite when it breaks a limit."""
    places = {place["id"]: i for i, place in enumerate(request["locations"])}
    visits = [request["visits"][v] for v in order]
    stops = [places[visit["location"]] for visit in visits]
    path = [places[crew.technician["start"]], *stops, places[crew.technician["end"]]]
    seconds, metres = request["travel"]["seconds"], request["travel"]["metres"]
    drives = [seconds[a][b] for a, b in itertools.pairwise(path)]
    windows = [_window(visit, crew.shift["day"]) for visit in visits]
    duration = _shortest(crew.shift, visits, windows, drives)
    if math.isinf(duration):
        return math.inf
    prices = request["prices"]
    length = sum(metres[a][b] for a, b in itertools.pairwise(path))
    return (
        prices.get("distance", 0) * length
        + prices.get("duration", 0) * duration
        + prices.get("vehicle_day", 0)
    )


def _window(visit: Json, day: int) -> tuple[float, float]:
    windows = visit.get("windows") or []
    if not windows:
        return -math.inf, math.inf
    open_now = [(w["from"], w["to"]) for w in windows if w["day"] in (None, day)]
    return open_now[0] if open_now else (math.inf, -math.inf)


def _shortest(
    shift: Json, visits: list[Json], windows: list[tuple[float, float]], drives: list[int]
) -> float:
    """Least time from leaving to coming back, over all moments to leave; infinite if it never works."""
    rest = shift.get("break")
    if rest is None:
        return _least(shift, shift["from"], lambda leave: _drive(leave, visits, windows, drives))
    rested = max(shift["from"], rest["from"]) + rest["duration"]
    found = [_least(shift, rested, lambda leave: _drive(leave, visits, windows, drives))]
    if rested > rest["to"]:
        found = []
    for gap in range(len(drives) + 1):
        found.append(
            _least(
                shift, shift["from"], lambda leave, gap=gap: _drive(leave, visits, windows, drives, gap, rest)
            )
        )
    return min(found)


def _least(shift: Json, earliest: float, drive: Callable[[float], float | None]) -> float:
    latest, back = earliest, drive(earliest)
    if back is None or back > shift["to"]:
        return math.inf
    high = int(back)
    while latest < high:  # leaving later never brings anyone back earlier
        moment = (latest + high + 1) // 2
        if drive(moment) == back:
            latest = moment
        else:
            high = moment - 1
    duration = back - latest
    longest = shift.get("max_duration")
    return duration if longest is None or duration <= longest else math.inf


def _drive(
    leave: float,
    visits: list[Json],
    windows: list[tuple[float, float]],
    drives: list[int],
    gap: int | None = None,
    rest: Json | None = None,
) -> float | None:
    """When one is back; the break is taken during drive ``gap``, or after the last one."""
    now = leave
    for leg, drive in enumerate(drives):
        arrive = now + drive
        if leg == gap and rest is not None:
            if max(now, rest["from"]) > rest["to"] - rest["duration"]:
                return None
            arrive = max(arrive, rest["from"]) + rest["duration"]
        now = arrive
        if leg < len(visits):
            opens, closes = windows[leg]
            now = max(now, opens)
            if now > closes:
                return None
            now += visits[leg]["service"]
    if gap == len(drives) and rest is not None and now > rest["to"] - rest["duration"]:
        return None
    return now
