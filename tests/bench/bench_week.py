"""A week of twelve technicians and six hundred spas on real roads, and a small one beside rules of thumb.

    python -m tests.bench.bench_week [--seconds 60] [--processes 2] [--spas 600] [--technicians 12]
        [--only small|large]

Roads: the OpenStreetMap extract in fixtures/roads, through the project's own road graph. Positions,
frequencies, windows and skills are drawn at random with a fixed seed: invented. Every plan goes
through the independent checker of the tests. Exit status 1 when a plan breaks a limit or the large
week takes longer than asked for plus --grace seconds.
"""

import argparse
import itertools
import os
import random
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta
from datetime import time as clock
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from service.rounds.merged_stops import merge_stops, part_stops
from service.rounds.problem_of_week import (
    Obligation,
    OpenHours,
    Roads,
    RoundPrices,
    Week,
    Working,
    problem_of_week,
)
from service.rounds.roads import extract
from service.rounds.roads.extract import Extract
from service.rounds.roads.times import Point
from service.rounds.solver.insert import insert
from service.rounds.solver.replan import without
from service.rounds.solver.solve import Effort, plan
from tests.bench.hand_rules import HandRules
from tests.rounds.checker import broken_rules, moves, true_cost

Json = dict[str, Any]

SHIPPED = Path(__file__).parents[2] / "fixtures" / "roads" / "liechtenstein-2013-08-03.osm.pbf"
MONDAY = date(2026, 6, 1)
WORKDAYS = [MONDAY + timedelta(days=n) for n in range(5)]
ALL_DAYS = [MONDAY + timedelta(days=n) for n in range(7)]
PRICES = RoundPrices(
    driving_minute=0.5, kilometre=0.35, overtime_minute=0.8, technician_day=25, moved_visit=4
)
SKILLS = ("electrics", "heat_pumps")
KEPT_APART = 3
"""Least days between two visits of a week."""
YARD = "yard"
SMALL = 90
"""Spas of three people: about eight visits each a day."""


def roads_of(folder: Path) -> Extract:
    """The shipped extract, compiled into the folder."""
    return extract.load(extract.build(SHIPPED, folder))


def places_on(roads: Extract, count: int, seed: int) -> list[Point]:
    """Positions on the roads' own shape, at random; only such as can be driven to and from."""
    latitude, longitude = roads.graph.shape_degrees
    chosen = np.random.default_rng(seed).permutation(len(latitude))[: 2 * count]
    found = [Point(float(latitude[i]), float(longitude[i])) for i in chosen]
    cut_off = roads.matrix(found).unreachable
    return [point for i, point in enumerate(found) if i not in cut_off][:count]


def a_week(points: Sequence[Point], roads: Extract, *, technicians: int, seed: int) -> tuple[Json, list[Any]]:
    """The planner's request for a week, the first point being the yard, and its places as east and north."""
    draw = random.Random(seed)
    travel = roads.matrix(list(points))
    names = (YARD, *(f"site{n:03}" for n in range(1, len(points))))
    reachable = {names[i]: why for i, why in travel.unreachable.items()}
    week = Week(
        monday=MONDAY,
        zone=ZoneInfo("Europe/Vaduz"),
        obligations=[obligation(name, draw) for name in names[1:]],
        working=[shift for n in range(technicians) for shift in shifts(n)],
        roads=Roads(names, travel.seconds, travel.metres, reachable),
        prices=PRICES,
    )
    return problem_of_week(week).request, [(p.longitude * 0.68, p.latitude) for p in points]


def obligation(name: str, draw: random.Random) -> Obligation:
    """Of ten spas five once a week, three twice, two in the hours between groups of guests."""
    kind = draw.random()
    needs = tuple(skill for skill in SKILLS if draw.random() < 0.06)
    minutes = draw.choice([20, 25, 30, 35])
    if kind < 0.5:
        choices = tuple((day,) for day in WORKDAYS)
        hours = (OpenHours(None, clock(8), clock(12)),) if draw.random() < 0.2 else ()
        return Obligation(name, name, minutes, choices, hours, needs)
    if kind < 0.8:
        pairs = itertools.combinations(WORKDAYS, 2)
        twice = tuple(pair for pair in pairs if (pair[1] - pair[0]).days >= KEPT_APART)
        return Obligation(name, name, minutes, twice, (), needs)
    day = draw.choice(ALL_DAYS)
    return Obligation(name, name, minutes + 10, ((day,),), (OpenHours(day, clock(10), clock(15)),), needs)


def shifts(number: int) -> list[Working]:
    """Monday to Friday for all; every third also works on Saturday, and every fourth on Sunday."""
    days = [*WORKDAYS, *ALL_DAYS[5:6] * (number % 3 == 0), *ALL_DAYS[6:] * (number % 4 == 0)]
    skills = SKILLS if number % 3 == 0 else SKILLS[number % 2 :][:1]
    return [
        Working(
            person=f"t{number:02}",
            day=day,
            opens=clock(7, 30),
            closes=clock(16, 30),
            start=YARD,
            end=YARD,
            pause_opens=clock(11, 30),
            pause_closes=clock(13, 30),
            pause_minutes=30,
            overtime_minutes=30,
            skills=skills,
        )
        for day in days
    ]


def planned(request: Json, effort: Effort) -> tuple[Json, float]:
    """The plan with every visit for itself, and how long it took."""
    begun = time.perf_counter()
    merged, members = merge_stops(request)
    response = part_stops(plan(merged, effort), request, members)
    return response, time.perf_counter() - begun


def figures(request: Json, response: Json) -> tuple[int, float, float]:
    """Visits, hours of driving, kilometres."""
    rules = HandRules(request, [(0.0, 0.0)] * len(request["locations"]))
    drives = metres = visits = 0
    for route in response["routes"]:
        owner = next(t for t in request["technicians"] if t["id"] == route["technician"])
        stops = [rules.index[rules.visits[stop["visit"]]["location"]] for stop in route["stops"]]
        for a, b in itertools.pairwise([rules.index[owner["start"]], *stops, rules.index[owner["end"]]]):
            drives += rules.seconds[a][b]
            metres += rules.metres[a][b]
        visits += len(stops)
    return visits, drives / 3600, metres / 1000


def told(name: str, request: Json, response: Json) -> str:
    """One line about a plan."""
    visits, hours, km = figures(request, response)
    days_out = len(response["routes"])
    left = len(response["unserved"])
    return f"| {name} | {visits} | {left} | {days_out} | {hours:.1f} | {km:.0f} |"


def beside_hand_rules(roads: Extract, options: argparse.Namespace) -> int:
    """A small firm's week: three people, ninety spas, planned both ways."""
    request, places = a_week(places_on(roads, SMALL + 1, seed=7), roads, technicians=3, seed=7)
    by_hand = HandRules(request, places).plan()
    served = {v["id"] for v in request["visits"]} - {gone["visit"] for gone in by_hand["unserved"]}
    same = {**request, "visits": [v for v in request["visits"] if v["id"] in served]}
    by_hand["unserved"] = []
    by_hand["status"] = "complete"
    by_hand["routes"] = [
        {**r, "stops": [s for s in r["stops"] if s["visit"] in served]} for r in by_hand["routes"]
    ]
    response, seconds = planned(same, Effort(options.small_seconds, processes=options.processes))
    broken = broken_rules(same, response)
    print(
        f"\nThree people, {len(served)} of {SMALL} spas (those the rules of thumb could place); "
        f"{seconds:.0f} s"
    )
    print(
        "| | visits | without a place | days out | hours driven | km |\n| --- | --- | --- | --- | --- | --- |"
    )
    print(told("rules of thumb", same, by_hand))
    print(told("planned", same, response))
    (_, hours, km), (_, hand_hours, hand_km) = figures(same, response), figures(same, by_hand)
    print(
        f"saved: {hand_hours - hours:.1f} h ({100 * (1 - hours / hand_hours):.0f} %), "
        f"{hand_km - km:.0f} km ({100 * (1 - km / hand_km):.0f} %); limits broken: {broken or 'none'}"
    )
    return len(broken)


def large_week(roads: Extract, options: argparse.Namespace) -> int:
    """Twelve people and six hundred spas: planned, then somebody off, then an urgent call."""
    points = places_on(roads, options.spas + 1, seed=3)
    begun = time.perf_counter()
    request, places = a_week(points, roads, technicians=options.technicians, seed=3)
    print(
        f"\n{options.technicians} people, {options.spas} spas; "
        f"drives and request {time.perf_counter() - begun:.1f} s"
    )
    with Memory() as memory:
        response, seconds = planned(request, Effort(options.seconds, processes=options.processes))
    broken = broken_rules(request, response)
    print(
        "| | visits | without a place | days out | hours driven | km |\n| --- | --- | --- | --- | --- | --- |"
    )
    print(told("rules of thumb", request, HandRules(request, places).plan()))
    print(told("planned", request, response))
    print(
        f"{seconds:.1f} s, cost {true_cost(request, response):.0f}, {memory.told()}, "
        f"limits broken: {broken or 'none'}"
    )
    for reason, count in Counter(gone["reason"] for gone in response["unserved"]).most_common(5):
        print(f"  without a place, {count}: {reason}")
    broken += without_one(request, response, options, day=1)
    broken += without_one(request, response, options, day=None)
    urgent_call(request, response)
    return len(broken) + (seconds > options.seconds + options.grace)


def without_one(request: Json, response: Json, options: argparse.Namespace, day: int | None) -> list[str]:
    """One person off for a day, or the week: what moves."""
    gone = {"technician": request["technicians"][1]["id"], **({} if day is None else {"day": day})}
    # As the product asks: what need not move stays, whatever that costs in driving.
    steady = {**request["prices"], "moved_visit": 0}
    asked = {**request, "previous": response["routes"], "without": [gone], "prices": steady}
    theirs = sum(
        len(r["stops"])
        for r in response["routes"]
        if r["technician"] == gone["technician"] and day in (None, r["day"])
    )
    begun = time.perf_counter()
    after = without(asked, Effort(options.replan_seconds, processes=options.processes))
    took = time.perf_counter() - begun
    moved, changed = moves(asked, after)
    visits = sum(len(route["stops"]) for route in response["routes"])
    one = request["technicians"][1]
    shifts = [s for s in one["shifts"] if day is not None and s["day"] != day]
    fewer = [{**t, "shifts": shifts} if t is one else t for t in request["technicians"]]
    broken = broken_rules({**asked, "technicians": fewer}, after)
    print(
        f"{'a day' if day is not None else 'the week'} off: {theirs} visits were theirs; "
        f"{moved} on another day, {changed} with somebody else = {100 * (moved + changed) / visits:.1f} % "
        f"of {visits}; {len(after['unserved']) - len(response['unserved'])} more without a place; "
        f"{took:.1f} s; limits broken: {broken or 'none'}"
    )
    return broken


def urgent_call(request: Json, response: Json) -> None:
    """The time to offer places for one more visit."""
    urgent = {**request["visits"][0], "id": "urgent", "day_choices": [[2]], "windows": [], "needs": []}
    asked = {
        **request,
        "visits": [*request["visits"], urgent],
        "previous": response["routes"],
        "insert": "urgent",
    }
    begun, worked = time.perf_counter(), time.process_time()
    offered = insert(asked)
    took, worked = time.perf_counter() - begun, time.process_time() - worked
    print(
        f"urgent call: {len(offered['slots'])} places offered in {1000 * took:.0f} ms "
        f"({1000 * worked:.0f} ms of them at work), reading included"
    )


class Memory:
    """The most memory that this process and all below it held together, looked up ten times a second."""

    def __enter__(self) -> "Memory":
        self.most, self.over = 0.0, threading.Event()
        self.thread = threading.Thread(target=self._look, daemon=True)
        self.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.over.set()
        self.thread.join()

    def told(self) -> str:
        """In words."""
        return f"at most {self.most:.0f} MB in all processes"

    def _look(self) -> None:
        while not self.over.wait(0.1):
            self.most = max(self.most, sum(map(resident_mb, family(os.getpid()))))


def family(pid: int) -> list[int]:
    """A process and all below it."""
    try:
        below = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except OSError:
        return []
    return [pid, *(other for child in below for other in family(int(child)))]


def resident_mb(pid: int) -> float:
    """What a process holds now, pages that it shares with others included."""
    try:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    except OSError:
        return 0.0
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS")), 0.0)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures; returns the exit status."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seconds", type=float, default=50.0)
    parser.add_argument("--grace", type=float, default=10.0, help="for reading, drawing up and explaining")
    parser.add_argument("--small-seconds", type=float, default=15.0)
    parser.add_argument("--replan-seconds", type=float, default=10.0)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--spas", type=int, default=600)
    parser.add_argument("--technicians", type=int, default=12)
    parser.add_argument("--only", choices=["small", "large"])
    options = parser.parse_args(arguments)
    print(f"{os.cpu_count()} cores, load before {os.getloadavg()[0]:.1f}, {options.processes} processes")
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        roads = roads_of(Path(folder))
        if options.only != "large":
            wrong += beside_hand_rules(roads, options)
        if options.only != "small":
            wrong += large_week(roads, options)
    print(f"load after {os.getloadavg()[0]:.1f}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
