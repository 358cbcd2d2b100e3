"""The plan in force meets the day: somebody is off, somebody calls. As little as possible moves."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID, uuid4

from django.db import transaction
from django.utils import timezone

from accounts.access import NotAllowed, require
from accounts.models import Person
from accounts.roles import Action
from service.rounds.build_week import ask_build
from service.rounds.keep_roster import add_day_off
from service.rounds.models import PlannedVisit, PlanProblem, PlanState, WeekPlan
from service.rounds.plan_editing import edit_standing_plan, note
from service.rounds.plan_values import day_name, in_words, seconds_now, sentence
from service.rounds.problem_of_week import date_of
from service.rounds.retiming import Board
from service.rounds.roads.times import NO_ROAD, Point
from service.rounds.solver.insert import insert
from service.rounds.standing_visits import DAY_ENDS, URGENT
from service.rounds.travel import travel_times_for
from service.rounds.week_clock import moment_at, span_of
from service.rounds.week_inputs import location_of
from service.rounds.write_rounds import board_of, settle, write_rounds
from service.runs.models import Run
from service.shell.clock import local_time
from service.shell.days import today_at
from service.sites.archive import why_not_in_use
from service.sites.models import Spa
from service.visits.clock import zone_of
from service.visits.editing import Refused

REPLAN_SECONDS = 10
LEAST_MINUTES, MOST_MINUTES = 5, 480


@dataclass(frozen=True)
class Window:
    """When an urgent visit may begin: on which days, and between which clock times."""

    days: tuple[date, ...]
    opens: time = time.min
    closes: time = DAY_ENDS


@dataclass(frozen=True)
class UrgentSlot:
    """A place for an urgent visit. position: among the stops of the round, from 0.

    words  "Tuesday 2 June with Bea at 10:40, after Hillside: 14 min more on the road".
    """

    technician: Person
    day: date
    position: int
    start: str
    added_minutes: int
    delays_others_minutes: int
    words: str


@dataclass(frozen=True)
class UrgentCall:
    """What was asked, and the cheapest places for it. why_none: a sentence when there is none."""

    spa: Spa
    minutes: int
    slots: tuple[UrgentSlot, ...]
    why_none: str


@transaction.atomic
def technician_off(*, person: Person, first_day: date, last_day: date, reason: str, by: Person) -> list[Run]:
    """Take somebody off some days, and have every planned week that it touches planned again.

    Of the rounds only what must move moves; what has begun or is pinned stays. The new plan is a draft:
    the office looks at what it moves, and publishes it.

    Raises NotAllowed, Refused (a week is being planned just now), ValidationError by field.
    """
    require(by, Action.PLAN_VISITS)
    if person.organisation_id != by.organisation_id:
        raise NotAllowed(Action.PLAN_VISITS)
    add_day_off(technician=person, first_day=first_day, last_day=last_day, reason=reason, by=by)
    return [_ask_without(plan, person, first_day, last_day, by) for plan in _touched(by, first_day, last_day)]


def _touched(by: Person, first_day: date, last_day: date) -> Iterable[WeekPlan]:
    first_monday = max(first_day, today_at(by.organisation))
    plans = WeekPlan.objects.filter(organisation=by.organisation_id, state=PlanState.PUBLISHED)
    monday = first_monday - timedelta(days=first_monday.weekday())
    return (
        plans.filter(monday__gte=monday, monday__lte=last_day)
        .order_by("monday")
        .select_related("organisation")
    )


def _ask_without(plan: WeekPlan, person: Person, first_day: date, last_day: date, by: Person) -> Run:
    week = [plan.monday + timedelta(days=n) for n in range(7)]
    off = [day for day in week if first_day <= day <= last_day]
    when = day_name(off[0]) if len(off) == 1 else f"{day_name(off[0])} to {day_name(off[-1])}"
    return ask_build(
        plan.organisation,
        plan.monday,
        by=by,
        seconds=REPLAN_SECONDS,
        title=f"Without {person.name}, {when}"[:200],
        steady=True,
    )


def urgent_call(
    *, spa: Spa, plan: WeekPlan, by: Person, minutes: int, window: Window, now: datetime | None = None
) -> UrgentCall:
    """The three cheapest places for a call, the other stops keeping their order. Nothing is changed.

    Raises NotAllowed, Refused (archived spa, no position, days outside the week, minutes out of range),
    RoadsError.
    """
    require(by, Action.PLAN_VISITS)
    _refuse_bad_call(spa, plan, by, minutes, window)
    content = _with_call(plan, spa, minutes, window)
    answer = insert({**content["request"], **_in_force(plan, content, now)})
    slots = tuple(_slot(plan, content, slot, answer["visit"]) for slot in answer["slots"])
    why = _why_none(plan, content, answer) if not slots else ""
    return UrgentCall(spa, minutes, slots, why)


@transaction.atomic
def take_slot(
    *,
    call: UrgentCall,
    slot: UrgentSlot,
    plan: WeekPlan,
    window: Window,
    by: Person,
    expected_revision: int | None = None,
) -> PlannedVisit:
    """Put an urgent visit into the place that was chosen; in a published plan it is on the day at once.

    Raises NotAllowed, PlanChanged or Refused, as ``urgent_call``.
    """
    row = edit_standing_plan(plan, by=by, expected_revision=expected_revision)
    _refuse_bad_call(call.spa, row, by, call.minutes, window)
    content = _with_call(row, call.spa, call.minutes, window)
    key = content["request"]["insert"]
    planned = PlannedVisit.objects.create(
        organisation=row.organisation,
        plan=row,
        key=key,
        spa=call.spa,
        why="Urgent call",
        service_minutes=call.minutes,
        reason="Waits for its place.",
    )
    board = Board(content)
    mine = row.visits.filter(technician=slot.technician, day=slot.day).order_by("sequence")
    timed = board.best_with(
        str(slot.technician.pk), (slot.day - row.monday).days, [r.key for r in mine], key, slot.position
    )
    if timed is None:
        raise Refused(f"{slot.technician.name} does not work on {day_name(slot.day)}.")
    del content["request"]["insert"]
    PlanProblem.objects.filter(plan=row).update(packed=PlanProblem.pack(content))
    write_rounds(row, board, [timed], moved=(planned.pk,))
    settle(row, by=by)
    note(row, "week_plan.urgent_taken", by=by, spa=str(call.spa.pk), day=slot.day.isoformat())
    planned.refresh_from_db()
    return planned


def _refuse_bad_call(spa: Spa, plan: WeekPlan, by: Person, minutes: int, window: Window) -> None:
    if spa.organisation_id != by.organisation_id or plan.organisation_id != by.organisation_id:
        raise NotAllowed(Action.PLAN_VISITS)
    if why := why_not_in_use(spa):
        raise Refused(why)
    if not location_of(spa.site):
        raise Refused(f"{spa.site.name} has no position on the map. Enter it on the site's page first.")
    if not LEAST_MINUTES <= minutes <= MOST_MINUTES:
        raise Refused(f"A visit takes from {LEAST_MINUTES} to {MOST_MINUTES} minutes.")
    today = today_at(plan.organisation)
    if not any(day >= today and 0 <= (day - plan.monday).days < 7 for day in window.days):
        raise Refused("None of the days lies ahead in this week.")


def _with_call(plan: WeekPlan, spa: Spa, minutes: int, window: Window) -> dict[str, Any]:
    """The plan's problem with one visit more, named in "insert"."""
    content = plan.problem.content
    request, zone = content["request"], zone_of(plan.organisation)
    if all(place["id"] != location_of(spa.site) for place in request["locations"]):
        _add_place(plan, request, spa)
    days = [(day - plan.monday).days for day in window.days]
    ahead = [(n, date_of(plan.monday, n)) for n in days if 0 <= n < 7]
    spans = [(n, *span_of(day, window.opens, window.closes, zone)) for n, day in ahead]
    key = f"{URGENT}{uuid4()}"
    visit = {
        "id": key,
        "location": location_of(spa.site),
        "service": minutes * 60,
        "load": 0,
        "needs": [],
        "day_choices": [[n] for n, _ in ahead],
        "windows": [{"day": n, "from": opens, "to": closes} for n, opens, closes in spans],
        "optional": False,
        "not_with": [],
        "pinned": [],
    }
    request["visits"] = [*request["visits"], visit]
    request["insert"] = key
    return content


def _add_place(plan: WeekPlan, request: dict[str, Any], spa: Spa) -> None:
    """One place more, with the drives between it and every other."""
    points = [Point(*place["at"]) for place in request["locations"]]
    here = Point(float(spa.site.latitude or 0), float(spa.site.longitude or 0))
    rows = travel_times_for(plan.organisation).rows([here], points)
    if rows.unreachable:
        raise Refused(next(iter(rows.unreachable.values())))
    for name, back, out in (
        ("seconds", rows.seconds_back[0], rows.seconds_out[0]),
        ("metres", rows.metres_back[0], rows.metres_out[0]),
    ):
        matrix = request["travel"][name]
        for row, value in zip(matrix, back, strict=True):
            row.append(_or_none(value))
        matrix.append([*(_or_none(value) for value in out), 0])
    request["locations"].append(
        {"id": location_of(spa.site), "at": [here.latitude, here.longitude], "name": spa.site.name}
    )


def _or_none(value: int) -> int | None:
    return None if value == NO_ROAD else value


def _in_force(plan: WeekPlan, content: dict[str, Any], now: datetime | None) -> dict[str, Any]:
    """The plan's rounds as the planner's ``previous``, and the moment from which it can be changed."""
    zone, board = zone_of(plan.organisation), board_of(plan)
    routes: dict[tuple[str, int], list[dict[str, Any]]] = {}
    for row in plan.visits.filter(day__isnull=False).order_by("day", "sequence"):
        assert row.day is not None
        number = (row.day - plan.monday).days
        found = board.shifts(str(row.technician_id), number)
        if found and board.knows(row.key):
            name = board.problem.technicians[found[0][0]].id
            start = row.start_at and round((row.start_at - moment_at(row.day, 0, zone)).total_seconds())
            routes.setdefault((name, number), []).append({"visit": row.key, "start": start})
    moment = seconds_now(now or timezone.now(), plan.monday, zone)
    return {
        "previous": [{"technician": who, "day": day, "stops": stops} for (who, day), stops in routes.items()],
        "now": moment,
    }


def _slot(plan: WeekPlan, content: dict[str, Any], slot: dict[str, Any], key: str) -> UrgentSlot:
    stop = slot["stops"][0]
    day = date_of(plan.monday, stop["day"])
    technician = Person.objects.get(
        pk=content["people"][stop["technician"]], organisation=plan.organisation_id
    )
    start = local_time(moment_at(day, stop["start"], zone_of(plan.organisation)), plan.organisation.time_zone)
    added, delays = -(-stop["added_duration"] // 60), -(-stop["delays_others_by"] // 60)
    follows = plan.visits.filter(key=stop["follows"]).select_related("spa__site").first()
    after = f", after {follows.spa.site.name}" if follows else ", as the first stop"
    waits = f"nobody after it waits more than {delays} min longer" if delays > 0 else "nobody waits longer"
    words = f"{day_name(day)} with {technician.name} at {start}{after}: {added} min more; {waits}"
    return UrgentSlot(technician, day, stop["position"], start, added, delays, words)


def _why_none(plan: WeekPlan, content: dict[str, Any], answer: dict[str, Any]) -> str:
    names = {place["id"]: place["name"] for place in content["request"]["locations"]}
    people = Person.objects.filter(organisation=plan.organisation_id).in_bulk(set(content["people"].values()))
    names |= {name: people[UUID(person)].name for name, person in content["people"].items()}
    gone = answer["unserved"][0]
    said = [
        in_words(text, monday=plan.monday, names=names, today=today_at(plan.organisation))
        for text in (gone["reason"], gone["would_fit_if"])
    ]
    return f"{sentence(said[0])} It would fit if {said[1]}."
