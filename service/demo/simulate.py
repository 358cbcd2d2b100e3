"""Months of visits of the demonstration's firms, simulated: the engine's water, the product's own use cases.

Every spa has its water from its own random source; who comes when is what the spas share, and the diary
says it. So one of them can be simulated again alone, with the diary that was written.
"""

import heapq
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

import time_machine

from accounts.models import Person
from service.demo.diary import Diary, DrivenDiary, WrittenDiary, drives_between
from service.demo.play import play_visit
from service.demo.scenario import PIN, Cast, planner
from service.demo.tub_water import TubWater
from service.demo.write_past import written_down
from service.rounds.models import RoadSource
from service.rounds.owed_facts import drain_rules
from service.rounds.travel import travel_times
from service.sites.models import ClientKind, Sanitiser, Spa
from service.stock.models import Instrument, Method
from service.visits.models import StepState, TreatmentStep, Verdict, Visit, VisitState

SEED = 20
DAYS = 120
# A Monday in winter: no clock is changed in the 120 days before it.
BASE = datetime(2026, 3, 2, 12, tzinfo=UTC)
# The scenario plays the days from here on itself, for the spas that it names.
PLAYED_FROM = -7
# From visit to visit.
EVERY_DAYS_PLAYED, EVERY_DAYS_LET, EVERY_DAYS_PRIVATE = 9, 14, 21
_READ_ALWAYS = ("temperature_c", "ph", "total_alkalinity_mg_l")
_READ_MONTHLY = ("calcium_hardness_mg_l", "total_dissolved_solids_mg_l")
_UNSIGNED = (
    (VisitState.NO_ACCESS, "Gate locked and nobody in; rang twice."),
    (VisitState.BATHERS, "Guests in the water; they would not come out."),
    (VisitState.MISSED, "Snow on the road, turned back."),
)
_UNSIGNED_SHARE, _CLOUDY_SHARE, _AMENDED_SHARE = 0.035, 0.012, 0.012
_CLOUDY = "Milky, the floor drain cannot be made out"


@dataclass(frozen=True)
class Team:
    """Who carries out the visits of a firm, with which instrument; keys as in the scenario."""

    technicians: Mapping[str, Person]
    instruments: Mapping[str, Instrument]
    instrument: str
    office: Person
    pin: str


@dataclass(frozen=True)
class SpaPast:
    """What of a spa's months is settled before they are simulated.

    every  Days from visit to visit; after a closed verdict somebody tests again two days later.
    """

    spa: Spa
    key: str
    last_day: int
    every: int


def simulate_spa(past: SpaPast, team: Team, diary: Diary, *, midnight: datetime) -> Iterator[int]:
    """Play the visits of one spa from ``DAYS`` ago on, days counted from ``midnight``.

    Says each visit's day before it is played, so that the spas of a firm can take turns.
    """
    spa, every, last_day = past.spa, past.every, past.last_day
    chance = Random(f"{SEED}:{past.key}")
    water = TubWater(spa, chance)
    wanted = list(team.technicians.values())[chance.randrange(len(team.technicians))]
    day, before = -DAYS + chance.randrange(every), -DAYS - 1
    asked = min((rule.max_days for rule in drain_rules(spa) if rule.max_days), default=None)
    next_drain = day + (chance.randrange(asked) if asked else chance.randrange(20, 90))
    kind = "round"
    for number in range(DAYS):
        if day > last_day:
            return
        yield day
        water.pass_days(day - before)
        # A guideline that asks for drains is kept up to the last visit, so that few are overdue today.
        drains = day >= next_drain or (asked is not None and day + every > last_day)
        entry = _entry(water, chance, number, drains=drains) | {"kind": kind, "instrument": team.instrument}
        visit = _played(entry, spa, team, diary, wanted, midnight + timedelta(days=day))
        if drains and visit.state == VisitState.SIGNED:
            next_drain = day + (asked + chance.randrange(-2, 3) if asked else chance.randrange(35, 95))
            water.refill()
        water.dose(_doses(visit))
        closed = visit.verdict == Verdict.CLOSED_UNTIL_RETEST or visit.state != VisitState.SIGNED
        before, kind = day, "retest" if closed else "round"
        day += 2 if closed else every + chance.choice((-1, 0, 0, 0, 1))


def _played(
    entry: Mapping[str, Any], spa: Spa, team: Team, diary: Diary, wanted: Person, midnight: datetime
) -> Visit:
    technician, at = diary.arrive(wanted, spa.site, midnight.date())
    with time_machine.travel(at, tick=False):
        visit = play_visit(
            entry,
            spa=spa,
            technician=technician,
            cast_instruments=team.instruments,
            pin=team.pin,
            planned_on=midnight.date(),
            office=team.office,
        )
    visit.refresh_from_db()
    if visit.ended_at and visit.state != VisitState.MISSED:
        diary.leave(technician, spa.site, visit.ended_at)
    return visit


def _entry(water: TubWater, chance: Random, number: int, *, drains: bool) -> dict[str, Any]:
    """What is read and done at one visit, as the scenario says it."""
    lot, amended, cloudy = chance.random(), chance.random(), chance.random()
    parameters = [*_READ_ALWAYS, water.halogen]
    if number % 4 == 0:
        parameters += _READ_MONTHLY
        parameters += ["cyanuric_acid_mg_l"] if not water.bromine else []
    entry: dict[str, Any] = {
        "readings": water.read(parameters),
        "treatment": "as_planned",
        "after": "as_expected",
    }
    if lot < _UNSIGNED_SHARE and not drains:
        state, reason = chance.choice(_UNSIGNED)
        return entry | {"end": state, "reason": reason}
    if number % 2 == 0:
        entry["tasks"] = ["filter_rinse"]
    if drains:
        entry["drain"] = _fresh(water)
    elif cloudy < _CLOUDY_SHARE:
        entry["inspection"] = {"clarity": ("no", _CLOUDY)}
    elif amended < _AMENDED_SHARE:
        entry["amend"] = {
            "corrects": "Total alkalinity before dosing",
            "was": f"{entry['readings']['total_alkalinity_mg_l']} mg/L",
            "becomes": f"{int(entry['readings']['total_alkalinity_mg_l']) + 10} mg/L",
            "reason": "One drop of the titration was not counted; the paper note says so.",
        }
    return entry


def _fresh(water: TubWater) -> dict[str, str]:
    """What the new water reads once the spa is filled: the supply, and no sanitiser yet."""
    supply = water.spa.site.supply_water
    fresh = {"temperature_c": "14.0", "ph": str(supply["ph"]), water.halogen: "0.0"}
    fresh |= {
        name: f"{supply[name]:.0f}"
        for name in ("total_alkalinity_mg_l", "calcium_hardness_mg_l", "total_dissolved_solids_mg_l")
    }
    return fresh if water.bromine else fresh | {"total_chlorine_mg_l": "0.0", "cyanuric_acid_mg_l": "0"}


def _doses(visit: Visit) -> Iterator[dict[str, Any]]:
    steps = TreatmentStep.objects.filter(visit=visit, state=StepState.DONE).select_related("product")
    for step in steps.order_by("done_at", "order"):
        if step.action == "replace_water":
            fill = {"temperature_c": 14.0, **visit.spa.site.supply_water}
            yield {"replace_fraction": step.planned["replace_fraction"], "fill": fill}
        elif step.action == "add" and step.product:
            yield {
                "add": step.product.substance,
                "mass_g": float(step.actual_mass_g or 0),
                "active_fraction": float(step.product.active_fraction),
            }


def simulate_firm(firm: Mapping[str, Any], cast: Cast) -> dict[str, Any]:
    """Simulate a firm's spas day by day; their rows in the file's form.

    firm  Its part of the scenario. Needs the firm in scope and the clock at the base day.
    Raises RoadsError.
    """
    team, midnight = _team(cast), cast.moment(0, "00:00")
    pasts = list(_pasts(firm, cast))
    roads = travel_times(cast.organisation, road_source=RoadSource.EXTRACT)
    drives = drives_between([past.spa.site for past in pasts], roads)
    diary = DrivenDiary(str(SEED), cast.zone, list(team.technicians.values()), drives)
    _take_turns([(past, simulate_spa(past, team, diary, midnight=midnight)) for past in pasts])
    return {past.key: written_down(past.spa, cast.names()) for past in pasts}


def simulate_again(firm: Mapping[str, Any], cast: Cast, key: str, rows: Mapping[str, Any]) -> dict[str, Any]:
    """One spa of a firm, visited when its ``rows`` in the file say; its rows in the file's form."""
    team, midnight = _team(cast), cast.moment(0, "00:00")
    past = next(past for past in _pasts(firm, cast) if past.key == key)
    diary = WrittenDiary(rows, cast.people, midnight)
    for _day in simulate_spa(past, team, diary, midnight=midnight):
        pass
    return written_down(past.spa, cast.names())


def _pasts(firm: Mapping[str, Any], cast: Cast) -> Iterator[SpaPast]:
    played = {entry["spa"] for entry in firm["visits"] if entry["day"] <= 0}
    for key, spa in cast.spas.items():
        if spa.sanitiser == Sanitiser.OTHER:
            continue
        if key in played:
            yield SpaPast(spa, key, PLAYED_FROM - 1, EVERY_DAYS_PLAYED)
        else:
            let = spa.site.client.kind != ClientKind.PRIVATE
            yield SpaPast(spa, key, -1, EVERY_DAYS_LET if let else EVERY_DAYS_PRIVATE)


def _take_turns(spas: list[tuple[SpaPast, Iterator[int]]]) -> None:
    """Play all visits in the order of their days; on one day from west to east, a site's spas together."""
    queue = [
        (next(visits), (past.spa.site.longitude, past.spa.site.name, past.key), number)
        for number, (past, visits) in enumerate(spas)
    ]
    heapq.heapify(queue)
    while queue:
        _, place, number = heapq.heappop(queue)
        day = next(spas[number][1], None)
        if day is not None:
            heapq.heappush(queue, (day, place, number))


def _team(cast: Cast) -> Team:
    technicians = {key: one for key, one in cast.people.items() if "technician" in one.roles}
    photometer = next(key for key, one in cast.instruments.items() if one.method == Method.PHOTOMETER)
    return Team(technicians, cast.instruments, photometer, planner(cast), PIN)
