"""A planned week as plain values, read from the planner's answer: moments, drives, reasons in words."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

from service.rounds.problem_of_week import DAYS, LeftOut, date_of
from service.rounds.week_clock import midnight, moment_at, seconds_into

Json = dict[str, Any]


@dataclass(frozen=True)
class StopValue:
    """One visit on a round. drive: from the stop before, or from where the day begins, [s] and [m]."""

    key: str
    arrive: datetime
    start: datetime
    leave: datetime
    drive_seconds: int
    drive_metres: int
    sequence: int


@dataclass(frozen=True)
class RoundValue:
    """One person's round on one day, with the way home."""

    person: str
    day: date
    depart: datetime
    back: datetime
    back_drive_seconds: int
    back_drive_metres: int
    overtime_seconds: int
    pause: tuple[datetime, datetime] | None
    stops: tuple[StopValue, ...]


@dataclass(frozen=True)
class PlanValue:
    """A week: its rounds by day, and what is not on them."""

    rounds: tuple[RoundValue, ...]
    left_out: tuple[LeftOut, ...]


def read_plan(
    request: Json,
    response: Json,
    *,
    monday: date,
    zone: ZoneInfo,
    people: Mapping[str, str],
    names: Mapping[str, str],
    today: date,
) -> PlanValue:
    """The planner's answer as values.

    people  Technician of the request -> person.
    names   What ids of the request are called in a reason.
    today   Days before it are over, and said so.
    """
    reader = _Reader(request, monday, zone, people)
    routes = sorted(response["routes"], key=lambda r: (r["day"], people[r["technician"]], r["start"]))
    return PlanValue(
        rounds=tuple(reader.rounds(routes)),
        left_out=tuple(
            LeftOut(
                gone["visit"],
                sentence(in_words(gone["reason"], monday=monday, names=names, today=today)),
                in_words(gone["would_fit_if"], monday=monday, names=names, today=today),
            )
            for gone in response["unserved"]
        ),
    )


class _Reader:
    def __init__(self, request: Json, monday: date, zone: ZoneInfo, people: Mapping[str, str]) -> None:
        self.monday, self.zone, self.people = monday, zone, people
        self.seconds, self.metres = request["travel"]["seconds"], request["travel"]["metres"]
        self.place = {item["id"]: i for i, item in enumerate(request["locations"])}
        self.visits = {visit["id"]: self.place[visit["location"]] for visit in request["visits"]}
        self.team = {item["id"]: item for item in request["technicians"]}

    def rounds(self, routes: Sequence[Json]) -> Iterator[RoundValue]:
        """The rounds; a person's stops of one day are counted through, whatever shift they fall in."""
        counted: dict[tuple[str, int], int] = {}
        for route in routes:
            day = (self.people[route["technician"]], route["day"])
            yield self._round(route, counted.get(day, 0))
            counted[day] = counted.get(day, 0) + len(route["stops"])

    def _round(self, route: Json, before: int) -> RoundValue:
        day, who = date_of(self.monday, route["day"]), self.team[route["technician"]]
        at = [
            self.place[who["start"]],
            *(self.visits[stop["visit"]] for stop in route["stops"]),
            self.place[who.get("end") or who["start"]],
        ]
        drives = [(self.seconds[a][b], self.metres[a][b]) for a, b in pairwise(at)]
        pause = route.get("break")
        return RoundValue(
            person=self.people[route["technician"]],
            day=day,
            depart=moment_at(day, route["start"], self.zone),
            back=moment_at(day, route["end"], self.zone),
            back_drive_seconds=drives[-1][0],
            back_drive_metres=drives[-1][1],
            overtime_seconds=route.get("overtime") or 0,
            pause=pause
            and (moment_at(day, pause["start"], self.zone), moment_at(day, pause["end"], self.zone)),
            stops=tuple(
                StopValue(
                    stop["visit"],
                    moment_at(day, stop["arrive"], self.zone),
                    moment_at(day, stop["start"], self.zone),
                    moment_at(day, stop["leave"], self.zone),
                    *drive,
                    before + number,
                )
                for number, (stop, drive) in enumerate(zip(route["stops"], drives[:-1], strict=True), start=1)
            ),
        )


def in_words(text: str, *, monday: date, names: Mapping[str, str], today: date) -> str:
    """A reason of the planner with names and dates for its ids and numbers.

    >>> in_words("closed on day 1; b has 9 min left on day 2",
    ...          monday=date(2026, 6, 1), names={"b": "Bea"}, today=date(2026, 6, 3))
    'Tuesday 2 June is over; Bea has 9 min left on Wednesday 3 June'
    """
    for name in sorted(names, key=len, reverse=True):
        said = names[name].replace("\\", r"\\")
        text = re.sub(rf"(?<![\w/-]){re.escape(name)}(?![\w/-])", said, text)
    dates = [date_of(monday, number) for number in range(DAYS)]
    for number, day in enumerate(dates):
        if day < today:
            text = re.sub(rf"\bclosed on day {number}\b", f"{day_name(day)} is over", text)
        text = re.sub(rf"\bday {number}\b", day_name(day), text)
    return text


def sentence(text: str) -> str:
    """With a capital and a full stop.

    >>> sentence("no road leads there")
    'No road leads there.'
    """
    text = text.strip()
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith('.') else '.'}"


def day_name(day: date) -> str:
    """A day as people say it.

    >>> day_name(date(2026, 6, 1))
    'Monday 1 June'
    """
    return f"{day:%A} {day.day} {day:%B}"


def seconds_now(moment: datetime, monday: date, zone: ZoneInfo) -> Json | None:
    """The planner's ``now``: None before the week, a moment of one of its days else."""
    if moment < midnight(monday, zone):
        return None
    day = moment.astimezone(zone).date()
    return {"day": min((day - monday).days, DAYS - 1), "time": seconds_into(day, moment, zone)}
