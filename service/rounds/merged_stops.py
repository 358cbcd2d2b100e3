"""Spas at one place as one stop of the planner.

Spas of a site that may be served on the same days, at the same hours and by the same people go to
the planner as one visit as long as all of their work: fewer visits to place, and nobody drives to a
site twice. Where days or hours differ they stay apart; with no drive between them the planner brings
them together when that costs nothing. A stop is never longer than MOST_MINUTES, so that a large site
can still be shared.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

Json = dict[str, Any]
MOST_MINUTES = 180


def merge_stops(request: Json) -> tuple[Json, dict[str, list[str]]]:
    """A request with fewer visits, and for each of its visits those that it stands for."""
    placed = _placements(request)
    groups: dict[str, list[Json]] = {}
    for visit in request["visits"]:
        groups.setdefault(_likeness(visit, placed), []).append(visit)
    stops = [stop for group in groups.values() for stop in _stops(group)]
    members = {stop[0]["id"]: [visit["id"] for visit in stop] for stop in stops}
    merged = {
        **request,
        "visits": [_merged(stop) for stop in stops],
        "previous": _merged_routes(request.get("previous"), members),
    }
    return merged, members


def part_stops(response: Json, request: Json, members: Mapping[str, Sequence[str]]) -> Json:
    """The response with every stop told as its visits again, one after the other."""
    service = {visit["id"]: visit["service"] for visit in request["visits"]}
    return {
        **response,
        "routes": [
            {**route, "stops": [one for stop in route["stops"] for one in _parted(stop, members, service)]}
            for route in response["routes"]
        ],
        "unserved": [
            {**gone, "visit": name} for gone in response["unserved"] for name in members[gone["visit"]]
        ],
    }


def _parted(stop: Json, members: Mapping[str, Sequence[str]], service: Mapping[str, int]) -> Iterator[Json]:
    arrive, start = stop["arrive"], stop["start"]
    for name in members[stop["visit"]]:
        leave = start + service[name]
        yield {"visit": name, "arrive": arrive, "start": start, "leave": leave}
        arrive = start = leave


def _placements(request: Json) -> dict[str, list[tuple[str, int]]]:
    placed: dict[str, list[tuple[str, int]]] = {}
    for route in request.get("previous") or ():
        for stop in route["stops"]:
            placed.setdefault(stop["visit"], []).append((route["technician"], route["day"]))
    return placed


def _likeness(visit: Json, placed: Mapping[str, list[tuple[str, int]]]) -> str:
    """The same for two visits that can be one stop."""
    if visit.get("together_with") or visit.get("after"):
        return str(visit["id"])
    hours = [(w["day"], w["from"], w["to"]) for w in visit.get("windows") or ()]
    plain = {key: value for key, value in visit.items() if key not in ("id", "service", "load", "windows")}
    where = sorted(placed.get(visit["id"], []))
    return json.dumps([plain, sorted(hours, key=str), where], sort_keys=True)


def _stops(group: Sequence[Json]) -> Iterator[list[Json]]:
    """The group cut into stops that are short enough and fit each window."""
    stop: list[Json] = []
    for visit in group:
        if stop and not _fits([*stop, visit]):
            yield stop
            stop = []
        stop.append(visit)
    if stop:
        yield stop


def _fits(stop: Sequence[Json]) -> bool:
    spans = [w["to"] - w["from"] for w in stop[0].get("windows") or ()]
    work = sum(visit["service"] for visit in stop)
    return bool(work <= MOST_MINUTES * 60 and all(span >= _last_begins(stop) for span in spans))


def _last_begins(stop: Sequence[Json]) -> int:
    """Seconds from the beginning of the stop to that of its last visit."""
    return sum(visit["service"] for visit in stop[:-1])


def _merged(stop: Sequence[Json]) -> Json:
    first, later = stop[0], _last_begins(stop)
    return {
        **first,
        "service": sum(visit["service"] for visit in stop),
        "load": sum(visit.get("load") or 0 for visit in stop),
        "windows": [{**w, "to": w["to"] - later} for w in first.get("windows") or ()],
    }


def _merged_routes(routes: Any, members: Mapping[str, Sequence[str]]) -> list[Json] | None:
    if not routes:
        return None
    leader = {name: first for first, names in members.items() for name in names}
    return [{**route, "stops": list(_led(route["stops"], leader))} for route in routes]


def _led(stops: Sequence[Json], leader: Mapping[str, str]) -> Iterator[Json]:
    """The stops of a route under the names of what they were merged into, each once."""
    seen = set()
    for stop in stops:
        name = leader.get(stop["visit"], stop["visit"])
        if name not in seen:
            seen.add(name)
            yield {**stop, "visit": name}
