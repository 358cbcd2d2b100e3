"""A week planned by other rules of thumb: as few days out as the work fits, one person after the other.

Common practice, no source. A day begins with the next spa around the yard, by compass, and goes on to
whichever open spa can be begun soonest from where one stands; when it is full the next day begins, and
when the week is full the next person's. Spas that can be done on no later day go first. Windows,
skills, breaks and shifts are kept, and a spa that is owed several visits gets them on one of its sets
of days, from one person.
"""

from collections.abc import Sequence
from typing import Any

from tests.bench.hand_rules import Drive, HandRules

Json = dict[str, Any]


class PackedRules(HandRules):
    """Like HandRules, but a day is filled before the next is begun."""

    def plan(self) -> Json:
        """Routes and what was not served, in the form of the planner's response."""
        drives: dict[tuple[str, int], Drive] = {}
        done: dict[str, list[int]] = {}
        middle = self.places[self.index[self.request["technicians"][0]["start"]]]
        order = sorted(self.visits, key=lambda name: self._bearing(self.visits[name], middle))
        for technician in self.request["technicians"]:
            mine = [n for n in order if n not in done and self._can(technician, self.visits[n])]
            served: dict[str, list[int]] = {}
            for shift in sorted(technician["shifts"], key=lambda shift: shift["day"]):
                drive = Drive(technician, shift, self.index[technician["start"]], shift["from"])
                drives[technician["id"], shift["day"]] = drive
                self._fill(drive, mine, served, [s["day"] for s in technician["shifts"]])
            done |= {name: days for name, days in served.items() if self._is_whole(name, days)}
            self._take_back(technician["id"], drives, served, done)
        return self._response(drives, set())

    def _fill(
        self, drive: Drive, mine: Sequence[str], served: dict[str, list[int]], at_work: Sequence[int]
    ) -> None:
        day = drive.shift["day"]
        while True:
            ways = {name: self._ways(name, served.get(name, []), day, at_work) for name in mine}
            here = [name for name in mine if any(day in days for days in ways[name])]
            last = [name for name in here if all(day in days for days in ways[name])]
            if not drive.stops and not last:
                return
            choose = self._soonest if drive.stops else self._next_around
            begun = choose(drive, last) or choose(drive, here)
            if begun is None:
                return
            start, name = begun
            self._serve(drive, name, start)
            served.setdefault(name, []).append(day)

    def _next_around(self, drive: Drive, names: Sequence[str]) -> tuple[int, str] | None:
        """The first, by compass, that can be begun today."""
        starts = ((start, name) for name in names if (start := self._start(drive, name)) is not None)
        return next(starts, None)

    def _soonest(self, drive: Drive, names: Sequence[str]) -> tuple[int, str] | None:
        starts = [(start, name) for name in names if (start := self._start(drive, name)) is not None]
        return min(starts, default=None)

    def _ways(self, name: str, served: list[int], day: int, at_work: Sequence[int]) -> list[list[int]]:
        """Sets of days that can still be kept: the days before ``day`` are those it was served on."""
        if day in served:
            return []
        choices = self.visits[name]["day_choices"]
        return [
            days
            for days in choices
            if sorted(d for d in days if d < day) == sorted(served) and set(days) <= set(at_work)
        ]

    def _is_whole(self, name: str, days: list[int]) -> bool:
        return sorted(days) in [sorted(choice) for choice in self.visits[name]["day_choices"]]

    def _take_back(
        self,
        who: str,
        drives: dict[tuple[str, int], Drive],
        served: dict[str, list[int]],
        done: dict[str, list[int]],
    ) -> None:
        """Take off visits of a set of days that could not be finished; the others stay as they are."""
        half = served.keys() - done.keys()
        for (owner, _), drive in drives.items():
            if owner == who:
                drive.stops = [stop for stop in drive.stops if stop["visit"] not in half]
                drive.at = (
                    self.index[self.visits[drive.stops[-1]["visit"]]["location"]] if drive.stops else drive.at
                )
