"""An independent check of a plan: every limit of the request, in floating point, from the JSON alone.

Shares no code with the solver. The constraints are those of the periodic vehicle routing problem
with time windows as defined by J.-F. Cordeau, G. Laporte and A. Mercier, "A unified tabu search
heuristic for vehicle routing problems with time windows", Journal of the Operational Research
Society 52 (2001), 928-936: each customer is visited on the days of exactly one of its allowed
combinations, service starts within the window, load and duration of a route are limited. Skills,
breaks, pins, links and overtime follow the request's own definitions.
"""

import math
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

TOLERANCE = 0.01

Json = dict[str, Any]


def broken_rules(request: Json, response: Json) -> list[str]:
    """Everything about a plan that breaks the request; empty for a plan that can be driven."""
    return list(_Check(request, response).run())


def true_cost(request: Json, response: Json) -> float:
    """The plan's cost from the request's prices and matrices, nothing taken from the plan's own sums."""
    check = _Check(request, response)
    prices = request.get("prices") or request.get("objective") or {}
    names = ("driving", "driving_minute", "duration", "duration_minute", "kilometre")
    default = 0.0 if any(prices.get(name) for name in names) else 1.0
    given = prices.get("distance")
    a_metre = (default if given is None else given) + (prices.get("kilometre") or 0) / 1000
    a_second = (prices.get("driving") or 0) + (prices.get("driving_minute") or 0) / 60
    a_second_out = (prices.get("duration") or 0) + (prices.get("duration_minute") or 0) / 60
    overtime = (prices.get("overtime") or 0) + (prices.get("overtime_minute") or 0) / 60
    cost = 0.0
    for route in response["routes"]:
        legs = list(pairwise(check.places(route)))
        cost += a_metre * sum(check.metres(a, b) for a, b in legs)
        cost += a_second * sum(check.seconds(a, b) for a, b in legs)
        cost += a_second_out * (route["end"] - route["start"])
        cost += overtime * check.overtime(route)
        cost += prices.get("vehicle_day") or 0
    moved, changed = moves(request, response)
    a_move = prices.get("moved_visit") or 0
    a_change = prices.get("moved_technician")
    cost += moved * a_move + changed * (a_move / 4 if a_change is None else a_change)
    cost += (prices.get("not_preferred") or 0) * sum(
        bool(check.visit[stop["visit"]].get("preferred"))
        and route["technician"] not in check.visit[stop["visit"]]["preferred"]
        for route in response["routes"]
        for stop in route["stops"]
    )
    left_out = {item["visit"] for item in response["unserved"]}
    return cost + sum(
        visit.get("drop_penalty") or 0
        for visit in request["visits"]
        if visit["id"] in left_out and visit.get("optional")
    )


def moves(request: Json, response: Json) -> tuple[int, int]:
    """Visits that leave a day of the previous plan, and visits that keep their day but change hands."""
    before = _served(request.get("previous") or [])
    now = _served(response["routes"])
    moved = changed = 0
    for visit, days in before.items():
        if visit in now:
            moved += len(set(days) - set(now[visit]))
            changed += sum(now[visit][day] != who for day, who in days.items() if day in now[visit])
    return moved, changed


def _served(routes: list[Json]) -> dict[str, dict[int, str]]:
    found: dict[str, dict[int, str]] = {}
    for route in routes:
        for stop in route["stops"]:
            found.setdefault(stop["visit"], {})[route["day"]] = route["technician"]
    return found


class _Check:
    def __init__(self, request: Json, response: Json) -> None:
        self.request, self.response = request, response
        self.location = {place["id"]: i for i, place in enumerate(request["locations"])}
        self.visit = {visit["id"]: visit for visit in request["visits"]}
        self.technician = {technician["id"]: technician for technician in request["technicians"]}

    def run(self) -> Iterator[str]:
        yield from self._coverage()
        yield from self._links()
        used = Counter((route["technician"], route["day"]) for route in self.response["routes"])
        for (who, day), count in used.items():
            shifts = [s for s in self.technician[who]["shifts"] if s["day"] == day]
            if count > len(shifts):
                yield f"{who} drives {count} routes on day {day} with {len(shifts)} shifts"
        for route in self.response["routes"]:
            for problem in self._route(route):
                yield f"{route['technician']} on day {route['day']}: {problem}"

    def seconds(self, a: int, b: int) -> float:
        travel = self.request["travel"]
        return self.metres(a, b) if travel.get("metric") == "euclidean" else travel["seconds"][a][b]

    def metres(self, a: int, b: int) -> float:
        travel = self.request["travel"]
        if travel.get("metric") != "euclidean":
            return float(travel["metres"][a][b])
        p, q = self.request["locations"][a], self.request["locations"][b]
        return math.hypot(p["x"] - q["x"], p["y"] - q["y"])

    def places(self, route: Json) -> list[int]:
        who = self.technician[route["technician"]]
        stops = [self.visit[stop["visit"]]["location"] for stop in route["stops"]]
        return [self.location[name] for name in (who["start"], *stops, who.get("end") or who["start"])]

    def _coverage(self) -> Iterator[str]:
        unserved = [item["visit"] for item in self.response["unserved"]]
        times = Counter(
            (stop["visit"], route["day"]) for route in self.response["routes"] for stop in route["stops"]
        )
        yield from (f"{visit} is served twice on day {day}" for (visit, day), n in times.items() if n > 1)
        served = _served(self.response["routes"])
        for name, visit in self.visit.items():
            days = sorted(served.get(name, ()))
            if bool(days) == (name in unserved) or unserved.count(name) > 1:
                yield f"{name} must be either served or unserved, once"
            if days and days not in [sorted(set(choice)) for choice in visit["day_choices"]]:
                yield f"{name} is served on {days}, not on one of {visit['day_choices']}"
        required = [n for n in unserved if not self.visit[n].get("optional")]
        wanted = "incomplete" if required else "complete"
        if self.response["status"] != wanted:
            yield f"status should be {wanted}"
        for item in self.response["unserved"]:
            if not item["reason"] or not item["would_fit_if"]:
                yield f"{item['visit']} has no reason"

    def _links(self) -> Iterator[str]:
        served = _served(self.response["routes"])
        times = {
            (stop["visit"], route["day"]): (stop["start"], stop["leave"])
            for route in self.response["routes"]
            for stop in route["stops"]
        }
        for name, visit in self.visit.items():
            mine = served.get(name)
            if not mine:
                continue
            for other in visit.get("together_with") or ():
                theirs = served.get(other)
                if theirs and not (mine.items() <= theirs.items() or theirs.items() <= mine.items()):
                    yield f"{name} and {other} are not together"
            after = visit.get("after")
            if after:
                yield from self._gap(name, after, mine, served.get(after["visit"], {}), times)

    def _gap(self, name: str, after: Json, mine: Json, first: Json, times: Json) -> Iterator[str]:
        for day in mine:
            earlier = [d for d in first if d <= day] if day not in first else [day]
            gaps = [(day - d) * 86_400 + times[name, day][0] - times[after["visit"], d][1] for d in earlier]
            if max(gaps, default=-math.inf) < (after.get("min_gap") or 0) - TOLERANCE:
                yield f"{name} comes too soon after {after['visit']} on day {day}"

    def _route(self, route: Json) -> Iterator[str]:
        shifts = [s for s in self.technician[route["technician"]]["shifts"] if s["day"] == route["day"]]
        problems = [list(self._shift(route, shift)) for shift in shifts]
        yield from min(problems, key=len, default=["works without a shift"])
        yield from self._times(route)
        who = self.technician[route["technician"]]
        load = sum(self.visit[stop["visit"]].get("load") or 0 for stop in route["stops"])
        if who.get("capacity") is not None and load > who["capacity"] + TOLERANCE:
            yield f"carries {load}, more than {who['capacity']}"
        for stop in route["stops"]:
            yield from self._stop(route, who, stop)
        if not route["stops"]:
            yield "drives for nothing"

    def overtime(self, route: Json) -> float:
        """Overtime on the shift that the route breaks least."""
        shifts = [s for s in self.technician[route["technician"]]["shifts"] if s["day"] == route["day"]]
        return min(self._overtime(route, shift) for shift in shifts)

    def _overtime(self, route: Json, shift: Json) -> float:
        over = max(0.0, route["end"] - shift["to"])
        if shift.get("max_duration") is not None:
            over = max(over, route["end"] - route["start"] - shift["max_duration"])
        return over

    def _shift(self, route: Json, shift: Json) -> Iterator[str]:
        if route["start"] < shift["from"] - TOLERANCE:
            yield "leaves before the shift"
        if self._overtime(route, shift) > (shift.get("overtime_max") or 0) + TOLERANCE:
            yield f"works {self._overtime(route, shift)} too long"
        rest = shift.get("break")
        if rest is None:
            return
        pause = route.get("break")
        if pause is None:
            yield "has no break"
        elif pause["start"] < rest["from"] - TOLERANCE or pause["end"] > rest["to"] + TOLERANCE:
            yield "takes the break at the wrong time"
        elif pause["end"] - pause["start"] < rest["duration"] - TOLERANCE:
            yield "takes too short a break"

    def _times(self, route: Json) -> Iterator[str]:
        """Driving, waiting and the break fit between the stops."""
        places, pause = self.places(route), route.get("break")
        leaves = [route["start"], *(stop["leave"] for stop in route["stops"])]
        arrives = [*(stop["arrive"] for stop in route["stops"]), route["end"]]
        starts = [*(stop["start"] for stop in route["stops"]), route["end"]]
        for leg, (a, b) in enumerate(pairwise(places)):
            if arrives[leg] - leaves[leg] < self.seconds(a, b) - TOLERANCE:
                yield f"drives leg {leg} too fast"
            if starts[leg] < arrives[leg] - TOLERANCE:
                yield f"starts stop {leg} before arriving"
            if pause:
                inside = min(starts[leg], pause["end"]) - max(leaves[leg], pause["start"])
                if starts[leg] - leaves[leg] - max(0.0, inside) < self.seconds(a, b) - TOLERANCE:
                    yield f"drives leg {leg} during the break"
        if pause:
            for stop in route["stops"]:
                if min(stop["leave"], pause["end"]) - max(stop["start"], pause["start"]) > TOLERANCE:
                    yield f"works at {stop['visit']} during the break"

    def _stop(self, route: Json, who: Json, stop: Json) -> Iterator[str]:
        visit, day = self.visit[stop["visit"]], route["day"]
        if abs(stop["leave"] - stop["start"] - (visit.get("service") or 0)) > TOLERANCE:
            yield f"stays the wrong time at {visit['id']}"
        windows = visit.get("windows") or []
        open_now = [w for w in windows if w.get("day") in (None, day)]
        if windows and not any(
            w["from"] - TOLERANCE <= stop["start"] <= w["to"] + TOLERANCE for w in open_now
        ):
            yield f"misses the window of {visit['id']}"
        if not set(visit.get("needs") or ()) <= set(who.get("skills") or ()):
            yield f"lacks a skill for {visit['id']}"
        if who["id"] in (visit.get("not_with") or ()):
            yield f"must not serve {visit['id']}"
        yield from self._pin(route, visit, stop)

    def _pin(self, route: Json, visit: Json, stop: Json) -> Iterator[str]:
        pinned = visit.get("pinned") or []
        for pin in pinned if isinstance(pinned, list) else [pinned]:
            if pin.get("day") is not None and pin["day"] not in _served(self.response["routes"])[visit["id"]]:
                yield f"{visit['id']} is pinned to day {pin['day']}"
            if pin.get("day") not in (None, route["day"]):
                continue
            if pin.get("technician") not in (None, route["technician"]):
                yield f"{visit['id']} is pinned to {pin['technician']}"
            if pin.get("from") is not None and abs(stop["start"] - pin["from"]) > TOLERANCE:
                yield f"{visit['id']} is pinned to start at {pin['from']}"
