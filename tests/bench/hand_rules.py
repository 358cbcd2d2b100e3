"""A week planned by rules of thumb: an area each, its days shared out, the nearest next.

Common practice, no source: every technician takes an area (a sector about the yard, all sectors with
about the same work); within an area the first fifth of the spas is Monday's, the next Tuesday's and so
on, as far as the allowed days let it; a day is driven to whichever spa can be begun soonest from where one
stands, waiting included, as long as windows, break and shift allow it. What does not fit into its day
is tried with the others who work that day. It gives the same plan every time.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

Json = dict[str, Any]


@dataclass
class Drive:
    """One technician's day as far as it goes: where one is, when one is free, what was done."""

    technician: Json
    shift: Json
    at: int
    free: int
    stops: list[Json] = field(default_factory=list)
    rested: bool = False


class HandRules:
    """Plans one request of the planner; ``places``: an east and a north for each of its locations."""

    def __init__(self, request: Json, places: Sequence[tuple[float, float]]) -> None:
        self.request, self.places = request, places
        self.index = {place["id"]: i for i, place in enumerate(request["locations"])}
        self.seconds = request["travel"]["seconds"]
        self.metres = request["travel"]["metres"]
        self.visits = {visit["id"]: visit for visit in request["visits"]}

    def plan(self) -> Json:
        """Routes and what was not served, in the form of the planner's response."""
        owners = self._areas()
        drives = {
            (t["id"], shift["day"]): Drive(t, shift, self.index[t["start"]], shift["from"])
            for t in self.request["technicians"]
            for shift in t["shifts"]
        }
        waiting = self._days(owners)
        late: list[tuple[str, int]] = []
        for place, drive in drives.items():
            late += [(name, place[1]) for name in self._drive(drive, waiting.get(place, []))]
        missed = {name for name, day in late if not self._elsewhere(name, day, drives)}
        return self._response(drives, missed)

    def _areas(self) -> dict[str, Json]:
        """Each visit's technician: sectors about the first start, with about the same work in each."""
        team = self.request["technicians"]
        middle = self.places[self.index[team[0]["start"]]]
        around = sorted(self.visits.values(), key=lambda visit: self._bearing(visit, middle))
        work = [visit["service"] * len(visit["day_choices"][0]) for visit in around]
        share, done, owners = sum(work) / len(team) or 1, 0.0, {}
        for visit, its in zip(around, work, strict=True):
            first = min(int(done / share), len(team) - 1)
            able = [t for t in team[first:] + team[:first] if self._can(t, visit)]
            if able:
                owners[visit["id"]] = able[0]
            done += its
        return owners

    def _bearing(self, visit: Json, middle: tuple[float, float]) -> float:
        east, north = self.places[self.index[visit["location"]]]
        return math.atan2(north - middle[1], east - middle[0])

    def _can(self, technician: Json, visit: Json) -> bool:
        able = set(visit["needs"]) <= set(technician["skills"])
        return able and technician["id"] not in (visit.get("not_with") or ())

    def _days(self, owners: dict[str, Json]) -> dict[tuple[str, int], list[str]]:
        """For each technician and day the visits: a part of the area a day, then the emptier day."""
        waiting: dict[tuple[str, int], list[str]] = {}
        work: dict[tuple[str, int], int] = {}
        number, of_area = Counter[str](), Counter(owner["id"] for owner in owners.values())
        for name, owner in owners.items():
            visit, who = self.visits[name], owner["id"]
            at_work = sorted({shift["day"] for shift in owner["shifts"]})
            wanted = at_work[number[who] * min(len(at_work), 5) // of_area[who]]
            number[who] += 1
            choices = [days for days in visit["day_choices"] if set(days) <= set(at_work)]

            def price(days: list[int], who: str = who, wanted: int = wanted) -> tuple[int, int]:
                return min(abs(day - wanted) for day in days), max(work.get((who, day), 0) for day in days)

            for day in min(choices or visit["day_choices"], key=price):
                waiting.setdefault((who, day), []).append(name)
                work[who, day] = work.get((who, day), 0) + visit["service"]
        return waiting

    def _drive(self, drive: Drive, names: Sequence[str]) -> list[str]:
        """Drive to whichever can be begun soonest until none fits any more; returns what is left."""
        left = list(names)
        while begun := [(start, name) for name in left if (start := self._start(drive, name)) is not None]:
            start, name = min(begun)
            self._serve(drive, name, start)
            left.remove(name)
        return left

    def _elsewhere(self, name: str, day: int, drives: dict[tuple[str, int], Drive]) -> bool:
        """Try what is left with the others of the day, at the end of their rounds."""
        for (_, other_day), drive in drives.items():
            if other_day == day and self._can(drive.technician, self.visits[name]):
                start = self._start(drive, name)
                if start is not None:
                    self._serve(drive, name, start)
                    return True
        return False

    def _start(self, drive: Drive, name: str) -> int | None:
        """When the visit can begin if it is next; None when it no longer fits into the day."""
        visit, shift = self.visits[name], drive.shift
        there = self.index[visit["location"]]
        arrive = self._after_break(drive, there)
        for opens, closes in self._hours(visit, shift["day"]):
            start = max(arrive, opens)
            home = start + visit["service"] + self.seconds[there][self.index[drive.technician["end"]]]
            if start <= closes and home + self._break_to_come(drive, start) <= shift["to"]:
                return start
        return None

    def _hours(self, visit: Json, day: int) -> list[tuple[int, int]]:
        windows = visit.get("windows") or ()
        if not windows:
            return [(0, 2 * 86_400)]
        return sorted((w["from"], w["to"]) for w in windows if w["day"] in (None, day))

    def _after_break(self, drive: Drive, there: int) -> int:
        """Arrival; the break is taken before driving on once its time has come."""
        arrive = drive.free + self.seconds[drive.at][there]
        pause = drive.shift.get("break")
        if pause and not drive.rested and arrive + 3600 > pause["to"] - pause["duration"]:
            arrive = max(drive.free, pause["from"]) + pause["duration"] + self.seconds[drive.at][there]
        return int(arrive)

    def _break_to_come(self, drive: Drive, start: int) -> int:
        pause = drive.shift.get("break")
        return 0 if not pause or drive.rested or start > pause["to"] else pause["duration"]

    def _serve(self, drive: Drive, name: str, start: int) -> None:
        visit = self.visits[name]
        there = self.index[visit["location"]]
        arrive = self._after_break(drive, there)
        drive.rested = drive.rested or arrive > drive.free + self.seconds[drive.at][there]
        leave = start + visit["service"]
        drive.stops.append({"visit": name, "arrive": arrive, "start": start, "leave": leave})
        drive.at, drive.free = there, leave

    def _response(self, drives: dict[tuple[str, int], Drive], missed: set[str]) -> Json:
        served: dict[str, set[int]] = {}
        for (_, day), drive in drives.items():
            for stop in drive.stops:
                served.setdefault(stop["visit"], set()).add(day)
        wholly = {
            name
            for name, days in served.items()
            if sorted(days) in [sorted(choice) for choice in self.visits[name]["day_choices"]]
        }
        routes = [self._route(drive) for drive in drives.values() if drive.stops]
        unserved = [{"visit": name} for name in self.visits if name not in wholly or name in missed]
        return {"routes": routes, "unserved": unserved}

    def _route(self, drive: Drive) -> Json:
        home = self.index[drive.technician["end"]]
        legs = list(self._legs(drive, home))
        return {
            "technician": drive.technician["id"],
            "day": drive.shift["day"],
            "stops": drive.stops,
            "start": drive.stops[0]["arrive"] - self.seconds[legs[0][0]][legs[0][1]],
            "end": drive.free + self.seconds[drive.at][home],
            "distance": sum(self.metres[a][b] for a, b in legs),
            "driving": sum(self.seconds[a][b] for a, b in legs),
        }

    def _legs(self, drive: Drive, home: int) -> Iterator[tuple[int, int]]:
        at = self.index[drive.technician["start"]]
        for stop in drive.stops:
            there = self.index[self.visits[stop["visit"]]["location"]]
            yield at, there
            at = there
        yield at, home
