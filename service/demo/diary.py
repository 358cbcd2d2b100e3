"""When the simulated technicians reach each spa: one after the other, with the drive between them."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from random import Random
from typing import Any, Protocol
from zoneinfo import ZoneInfo

from accounts.models import Person
from service.demo.past import VISIT
from service.rounds.roads.times import NO_ROAD, Point, TravelTimes
from service.sites.models import Site

FIRST_STOP = time(8)
LATEST_START = time(15, 30)
# Drives take somewhat longer than the map says, some of them much longer: invented, for the demonstration.
USUAL_SHARE, SPREAD = 1.14, 0.15
UNKNOWN_DRIVE_S = 900
FIRST_STOP_WITHIN_MINUTES = 90


class Diary(Protocol):
    """Says who comes to a spa on a day, and when."""

    def arrive(self, wanted: Person, site: Site, day: date) -> tuple[Person, datetime]:
        """The technician, the wanted one if there is time left, and the moment."""
        ...

    def leave(self, technician: Person, site: Site, at: datetime) -> None:
        """The visit is over."""
        ...


@dataclass
class DrivenDiary:
    """Every visit begins when its technician has driven there from the one before.

    Ask for it in the order of the days.
    """

    seed: str
    zone: ZoneInfo
    technicians: Sequence[Person]
    drives_s: Mapping[tuple[Point, Point], int]
    _left: dict[str, tuple[datetime, Site]] = field(default_factory=dict)

    def arrive(self, wanted: Person, site: Site, day: date) -> tuple[Person, datetime]:
        """The wanted technician, or, late in the day, the one who can be there first."""
        arrivals = {person.pk: self._arrival(person, site, day) for person in self.technicians}
        last = datetime.combine(day, LATEST_START, self.zone)
        if arrivals[wanted.pk] <= last:
            return wanted, arrivals[wanted.pk]
        first = min(self.technicians, key=lambda person: arrivals[person.pk])
        return first, arrivals[first.pk]

    def leave(self, technician: Person, site: Site, at: datetime) -> None:
        """From here the technician drives on."""
        self._left[technician.name] = (at, site)

    def _arrival(self, technician: Person, site: Site, day: date) -> datetime:
        chance = Random(f"{self.seed}:{technician.name}:{day}:{site.name}")
        left, before = self._left.get(technician.name, (None, site))
        if left is None or left.astimezone(self.zone).date() != day:
            first = datetime.combine(day, FIRST_STOP, self.zone)
            return first + timedelta(minutes=chance.randrange(FIRST_STOP_WITHIN_MINUTES))
        if before == site:
            return left
        usual = self.drives_s.get((place_of(before), place_of(site)), UNKNOWN_DRIVE_S)
        driven = usual * USUAL_SHARE * math.exp(chance.gauss(0, SPREAD))
        return left + timedelta(minutes=math.ceil(driven / 60))


class WrittenDiary:
    """The visits of one spa as the file of the past has them."""

    def __init__(self, rows: Mapping[str, Any], people: Mapping[str, Person], midnight: datetime) -> None:
        self._visits: dict[date, tuple[Person, datetime]] = {}
        technician, planned_on, made = (
            VISIT.index(name) for name in ("technician", "planned_on", "created_at")
        )
        for visit in rows["visits"]:
            day = midnight.date() + timedelta(days=int(visit[planned_on].removeprefix("@")))
            at = time.fromisoformat(visit[made].partition("T")[2])
            self._visits[day] = people[visit[technician]], datetime.combine(day, at, midnight.tzinfo)

    def arrive(self, wanted: Person, site: Site, day: date) -> tuple[Person, datetime]:
        """As written; on another day than those written there is nobody."""
        return self._visits[day]

    def leave(self, technician: Person, site: Site, at: datetime) -> None:
        """Written already."""


def place_of(site: Site) -> Point:
    """Every site of the scenario has a position."""
    assert site.latitude is not None
    assert site.longitude is not None
    return Point(float(site.latitude), float(site.longitude))


def drives_between(sites: Sequence[Site], travel: TravelTimes) -> dict[tuple[Point, Point], int]:
    """Seconds from each site to each other one that a road leads to. Raises RoadsError."""
    points = sorted({place_of(site) for site in sites})
    seconds = travel.matrix(points).seconds
    return {
        (start, end): seconds[row][column]
        for row, start in enumerate(points)
        for column, end in enumerate(points)
        if seconds[row][column] != NO_ROAD
    }
