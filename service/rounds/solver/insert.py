"""An urgent visit: the cheapest places in the plan in force, its other stops keeping their order."""

import time
from collections.abc import Mapping, Sequence
from itertools import product
from typing import Any

from .explain import reason_for
from .fields import BadRequestError
from .fit import Slot, cheapest
from .plan import Plan, previous_plan
from .problem import Problem
from .replan import fix_past, read_now
from .request import read_problem
from .response import reason_json, round_json
from .screen import allowed_choices, screen_visit

MOST_SLOTS = 3


def insert(request: Any, *, most: int = MOST_SLOTS) -> dict[str, Any]:
    """Up to ``most`` places for the visit named by ``request["insert"]``, cheapest first.

    The request is that of ``plan``; ``previous`` is the plan in force and must not hold the visit.
    Stops keep their order and their technician, and no limit is broken. Each slot gives the stops of
    the visit (one for each of its days) with the added time, distance and price, by how much the
    stops after it are delayed, and the rounds as they would become.
    """
    begun = time.perf_counter()
    problem = read_problem(request)
    visit = _urgent(request, problem)
    problem = fix_past(problem, read_now(request, problem))
    plan = previous_plan(problem)
    open_days, reason = screen_visit(problem, problem.visits[visit])
    found = [] if reason else places_for(plan, visit, open_days, most)
    if not found:
        reason = reason or reason_for(plan, visit, open_days)
    return {
        "visit": problem.visits[visit].id,
        "slots": [_slot_json(problem, slots) for slots in found],
        "unserved": [] if reason is None else [reason_json(problem, visit, reason)],
        "seconds": round(time.perf_counter() - begun, 4),
    }


def places_for(plan: Plan, visit: int, open_days: frozenset[int], most: int) -> list[tuple[Slot, ...]]:
    """The cheapest ways to serve a visit: for each a slot on every day of one of its day choices."""
    choices = allowed_choices(plan.problem.visits[visit], open_days)
    single = [choice[0] for choice in choices if len(choice) == 1]
    several = [choice for choice in choices if len(choice) > 1]
    best = {day: cheapest(plan, visit, [day], most) for day in sorted({d for days in several for d in days})}
    ways: list[tuple[Slot, ...]] = [(slot,) for slot in cheapest(plan, visit, single, most)]
    ways += [way for days in several for way in product(*(best[day] for day in days))]
    return sorted(ways, key=lambda way: sum(slot.added for slot in way))[:most]


def _urgent(request: Mapping[str, Any], problem: Problem) -> int:
    name = request.get("insert")
    index = next((i for i, visit in enumerate(problem.visits) if visit.id == name), None)
    if index is None:
        raise BadRequestError([{"field": "insert", "message": f"there is no visit {name!r}"}])
    if index in problem.previous_days:
        raise BadRequestError([{"field": "insert", "message": f"{name} is in the plan already"}])
    return index


def _slot_json(problem: Problem, slots: Sequence[Slot]) -> dict[str, Any]:
    return {
        "days": [slot.after.day for slot in slots],
        "cost": round(sum(slot.added for slot in slots), 6),
        "stops": [_stop_json(problem, slot) for slot in slots],
        "routes": [round_json(problem, slot.after) for slot in slots],
    }


def _stop_json(problem: Problem, slot: Slot) -> dict[str, Any]:
    item, at = slot.after, slot.position
    stop = item.timing.stops[at]
    return {
        "technician": problem.technicians[item.technician].id,
        "day": item.day,
        "position": at,
        "follows": problem.visits[item.visits[at - 1]].id if at else None,
        "precedes": problem.visits[item.visits[at + 1]].id if at + 1 < len(item.visits) else None,
        "arrive": problem.units(stop.arrive),
        "start": problem.units(stop.start),
        "leave": problem.units(stop.leave),
        "added_duration": problem.units(
            item.timing.duration - (slot.before.timing.duration if slot.before else 0)
        ),
        "delays_others_by": problem.units(_delay(slot)),
    }


def _delay(slot: Slot) -> int:
    """By how much the stop that suffers most starts later than before."""
    if slot.before is None:
        return 0
    starts = [stop.start for stop in slot.after.timing.stops]
    del starts[slot.position]
    before = [stop.start for stop in slot.before.timing.stops]
    return max((new - old for new, old in zip(starts, before, strict=True)), default=0)
