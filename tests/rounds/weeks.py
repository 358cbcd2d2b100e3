"""Weeks to be planned, made up for the tests: tiny ones by hand, and rich ones by hypothesis."""

import itertools
import math
from typing import Any

from hypothesis import strategies as st

Json = dict[str, Any]
HOUR = 3600


def plane(points: list[tuple[float, float]]) -> list[Json]:
    """Locations p0, p1, … at points of the plane; p0 is the depot."""
    return [{"id": f"p{i}", "x": x, "y": y} for i, (x, y) in enumerate(points)]


def roads(points: list[tuple[int, int]], *, seconds_a_unit: int = 60) -> Json:
    """Whole-second travel between points, rounded up so that no detour is shorter; metres tenfold."""
    seconds = [[math.ceil(math.dist(a, b) * seconds_a_unit) for b in points] for a in points]
    return {"seconds": seconds, "metres": [[10 * s for s in row] for row in seconds]}


def shift(day: int, start: int = 8 * HOUR, end: int = 17 * HOUR, **more: Any) -> Json:
    """A shift on a day."""
    return {
        "day": day,
        "from": start,
        "to": end,
        "max_duration": None,
        "break": None,
        "overtime_max": 0,
        **more,
    }


def technician(name: str, days: int, **more: Any) -> Json:
    """A technician who starts and ends at p0 and works the same hours every day."""
    shifts = more.pop("shifts", None) or [shift(day) for day in range(days)]
    return {"id": name, "start": "p0", "end": "p0", "capacity": None, "skills": [], "shifts": shifts, **more}


def visit(name: str, place: str, choices: list[list[int]], **more: Any) -> Json:
    """A visit of half an hour without further conditions."""
    return {"id": name, "location": place, "service": HOUR // 2, "load": 1, "day_choices": choices, **more}


def week(
    days: int, points: list[tuple[int, int]], technicians: list[Json], visits: list[Json], **more: Any
) -> Json:
    """A request with given travel times."""
    return {
        "days": days,
        "travel": roads(points),
        "locations": [{"id": f"p{i}"} for i in range(len(points))],
        "technicians": technicians,
        "visits": visits,
        "prices": {"distance": 1},
        **more,
    }


def stops_of(response: Json) -> dict[tuple[str, int], Json]:
    """The stops of a plan by visit and day, each with its technician."""
    return {
        (stop["visit"], route["day"]): {**stop, "technician": route["technician"]}
        for route in response["routes"]
        for stop in route["stops"]
    }


SKILLS = ["electrics", "heat_pumps"]


@st.composite
def rich_weeks(draw: st.DrawFn) -> Json:
    """Weeks with every kind of condition at once; many leave some visit out."""
    days = draw(st.integers(1, 4))
    count = draw(st.sampled_from([9, 8, 7, 6, 4, 2]))
    points = draw(st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30)), min_size=3, max_size=7))
    people = [draw(_technicians(f"t{i}", days, len(points))) for i in range(draw(st.sampled_from([2, 3, 1])))]
    visits = [draw(_visits(i, count, days, len(points), people)) for i in range(count)]
    request = week(days, points, people, visits, prices=draw(_prices()))
    if draw(st.booleans()):
        request["previous"] = draw(_previous(days, people, visits))
    return request


@st.composite
def _technicians(draw: st.DrawFn, name: str, days: int, places: int) -> Json:
    off = draw(st.sampled_from([None, None, *range(days)]))
    shifts = [draw(_shifts(day)) for day in range(days) if day != off]
    return {
        "id": name,
        "start": f"p{draw(st.integers(0, places - 1))}",
        "end": f"p{draw(st.integers(0, places - 1))}",
        "capacity": draw(st.sampled_from([None, None, 12, 6, 3])),
        "skills": draw(st.sampled_from([SKILLS, SKILLS, ["electrics"], []])),
        "shifts": shifts,
    }


@st.composite
def _shifts(draw: st.DrawFn, day: int) -> Json:
    start = draw(st.integers(6, 9)) * HOUR
    end = start + draw(st.sampled_from([9, 8, 6, 4])) * HOUR
    rest = None
    if draw(st.booleans()):
        begins = start + draw(st.integers(1, 5)) * HOUR
        length = draw(st.integers(1, 4)) * 900
        rest = {"from": begins, "to": begins + length + draw(st.integers(0, 6)) * 900, "duration": length}
    return shift(
        day,
        start,
        end,
        max_duration=draw(st.sampled_from([None, None, 8 * HOUR, 5 * HOUR])),
        overtime_max=draw(st.sampled_from([0, 0, HOUR])),
        **{"break": rest},
    )


@st.composite
def _visits(draw: st.DrawFn, number: int, count: int, days: int, places: int, people: list[Json]) -> Json:
    subsets = [list(c) for n in range(1, days + 1) for c in itertools.combinations(range(days), n)]
    windows = [draw(_windows(days)) for _ in range(draw(st.sampled_from([0, 0, 0, 1, 2])))]
    names = [person["id"] for person in people]
    other = f"v{draw(st.integers(0, count - 1))}"
    earlier = f"v{draw(st.integers(0, number - 1))}" if number else None
    optional = draw(st.sampled_from([False, False, True]))
    return {
        "id": f"v{number}",
        "location": f"p{draw(st.integers(0, places - 1))}",
        "service": draw(st.sampled_from([2, 3, 4, 1, 0, 8])) * 900,
        "load": draw(st.integers(0, 5)),
        "needs": draw(st.sampled_from([[], [], [], [], ["electrics"], SKILLS])),
        "day_choices": draw(st.lists(st.sampled_from(subsets), min_size=1, max_size=4, unique_by=tuple)),
        "windows": windows,
        "optional": optional,
        "drop_penalty": draw(st.sampled_from([None, 1000, 20_000, 40_000])) if optional else None,
        "not_with": draw(st.sampled_from([[], [], [], [], names[:1]])),
        "preferred": draw(st.sampled_from([[], [], names[-1:]])),
        "pinned": draw(st.sampled_from([None] * 12 + _pins(names, days))),
        "together_with": [other] if draw(st.integers(0, 4)) == 0 and other != f"v{number}" else [],
        "after": {"visit": earlier, "min_gap": draw(st.sampled_from([0, 1, 2, 24])) * HOUR}
        if earlier and draw(st.integers(0, 4)) == 0
        else None,
    }


def _pins(names: list[str], days: int) -> list[Json]:
    return [
        {"technician": names[0], "day": None, "from": None},
        {"technician": names[-1], "day": days - 1, "from": None},
        {"technician": None, "day": 0, "from": 10 * HOUR},
    ]


@st.composite
def _windows(draw: st.DrawFn, days: int) -> Json:
    opens = draw(st.integers(7, 14)) * HOUR
    day = draw(st.sampled_from([None, None, None, *range(days)]))
    return {"day": day, "from": opens, "to": opens + draw(st.sampled_from([4, 2, 1, 0])) * HOUR}


@st.composite
def _prices(draw: st.DrawFn) -> Json:
    return draw(
        st.sampled_from(
            [
                {"distance": 1},
                {"duration": 1},
                {"distance": 1, "duration": 0.5, "overtime": 3, "vehicle_day": 500, "moved_visit": 300},
                {
                    "kilometre": 0.3,
                    "driving_minute": 0.6,
                    "overtime_minute": 1,
                    "vehicle_day": 20,
                    "moved_visit": 5,
                    "not_preferred": 3,
                },
            ]
        )
    )


@st.composite
def _previous(draw: st.DrawFn, days: int, people: list[Json], visits: list[Json]) -> list[Json]:
    """Last week's plan: some visits on days they may be served on, with whoever works."""
    routes: dict[tuple[str, int], list[Json]] = {}
    for item in visits:
        if not draw(st.booleans()):
            continue
        for day in draw(st.sampled_from(item["day_choices"])):
            who = draw(st.sampled_from(people))["id"]
            routes.setdefault((who, day), []).append({"visit": item["id"]})
    return [{"technician": who, "day": day, "stops": stops} for (who, day), stops in routes.items()]


@st.composite
def weeks_of_large_sites(draw: st.DrawFn) -> Json:
    """Sites with several spas that one person does on one day, at hours of their own; breaks and skills.

    Hours and work differ from spa to spa, so that those of a site cannot be made one visit.
    """
    days = draw(st.integers(1, 3))
    points = draw(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 20)), min_size=3, max_size=4))
    people = [draw(_rested(f"t{i}", days)) for i in range(draw(st.integers(1, 2)))]
    visits = [spa for site in range(1, len(points)) for spa in draw(_spas_of(site, days))]
    return week(days, points, people, visits, prices=draw(_prices()))


@st.composite
def _rested(draw: st.DrawFn, name: str, days: int) -> Json:
    length = draw(st.sampled_from([1800, 3600]))
    opens = draw(st.integers(10, 13)) * HOUR
    rest = {"from": opens, "to": opens + length + draw(st.sampled_from([0, HOUR])), "duration": length}
    shifts = [shift(day, **{"break": rest}) for day in range(days)]
    return technician(name, days, shifts=shifts, skills=draw(st.sampled_from([SKILLS, ["electrics"]])))


@st.composite
def _spas_of(draw: st.DrawFn, site: int, days: int) -> list[Json]:
    """One to three spas of a site, each done with the one before."""
    choices = [[day] for day in range(days)]
    names = [f"v{site}{letter}" for letter in "abc"[: draw(st.sampled_from([2, 3, 1]))]]
    return [
        visit(
            name,
            f"p{site}",
            choices,
            service=draw(st.integers(1, 6)) * 900,
            needs=draw(st.sampled_from([[], ["electrics"], SKILLS])),
            windows=[draw(_windows(days)) | {"day": None}] if draw(st.booleans()) else [],
            together_with=names[:place][-1:],
        )
        for place, name in enumerate(names)
    ]
