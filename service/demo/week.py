"""The demonstration's weeks: what is owed, who works, two planned weeks, from ``scenario_week.json``.

Entered and planned through the same use cases as a firm's own; this week is published, the next is a draft.
"""

import json
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import time_machine
from django.conf import settings
from django.db import transaction
from django.utils import timezone
from icalendar import Calendar, Event

from accounts.models import Organisation, Person
from service.rounds.agree import add_agreement, add_skill
from service.rounds.bookings import add_calendar, take_file
from service.rounds.build_week import plan_inputs
from service.rounds.keep_plan import keep_plan
from service.rounds.keep_roster import set_base, set_shifts
from service.rounds.models import Skill, WeekPlan
from service.rounds.models.agreements import weekday_bits
from service.rounds.publish import publish_week
from service.rounds.round_settings import change_round_settings
from service.rounds.solver_process import Effort
from service.rounds.week_inputs import named_week, read_inputs
from service.sites.models import Site, Spa

FILE = Path(settings.BASE_DIR) / "fixtures" / "scenario_week.json"
# Rounds of search instead of seconds: the same week each time, in about a second.
EFFORT = Effort(seconds=20, iterations=120, seed=1, processes=1)
AGREED_DAYS_AGO = 120
PLANNED_AT = time(6)


def build_weeks(
    organisation: Organisation,
    *,
    people: Mapping[str, Person],
    spas: Mapping[str, Spa],
    office: Person,
    today: date,
) -> list[WeekPlan]:
    """Agreements, roster and bookings of the firm that the file names; this week and the next planned.

    people, spas  By the scenario's keys. Returns nothing for another firm. Needs it in scope.
    """
    content = json.loads(FILE.read_text())
    if content["firm"] != organisation.name:
        return []
    change_round_settings(by=office, **content["settings"])
    skills = {name: add_skill(name=name, by=office) for name in content["skills"]}
    for entry in content["technicians"]:
        _add_technician(entry, people[entry["key"]], skills, office, today)
    for entry in content["agreements"]:
        _add_agreement(entry, spas, people, skills, office, today)
    monday = today - timedelta(days=today.weekday())
    for entry in content["calendars"]:
        _add_calendar(entry, spas[entry["site_of"]].site, monday, office)
    # The office planned before anybody set out, whatever time the demonstration is set up.
    morning = datetime.combine(today, PLANNED_AT, ZoneInfo(organisation.time_zone))
    with time_machine.travel(min(morning, timezone.now()), tick=False):
        this_week = _planned(organisation, monday, office)
        publish_week(plan=this_week, by=office)
    return [this_week, _planned(organisation, monday + timedelta(days=7), office)]


def _planned(organisation: Organisation, monday: date, office: Person) -> WeekPlan:
    inputs = read_inputs(organisation, monday)
    named = named_week(inputs)
    built = plan_inputs(inputs, named, EFFORT)
    with transaction.atomic():
        return keep_plan(inputs, named, built, run=None, title="Planned anew", by=office)


def _add_technician(
    entry: Mapping[str, Any], technician: Person, skills: Mapping[str, Skill], office: Person, today: date
) -> None:
    latitude, longitude = entry["at"]
    set_base(
        technician=technician,
        by=office,
        skills=[skills[name] for name in entry["skills"]],
        start_name=entry["start_name"],
        start_latitude=latitude,
        start_longitude=longitude,
        capacity_kg=entry["capacity_kg"],
    )
    shift = {
        "opens": time.fromisoformat(entry["opens"]),
        "closes": time.fromisoformat(entry["closes"]),
        "break_opens": time(11, 30),
        "break_closes": time(13, 30),
        "break_minutes": 30,
        "overtime_minutes": entry["overtime"],
    }
    # Everybody works today, whichever weekday it is: each sign-in then has a day to look at.
    weekdays = sorted({*entry["days"], today.weekday()})
    set_shifts(technician=technician, by=office, shifts=dict.fromkeys(weekdays, shift))


def _add_agreement(
    entry: Mapping[str, Any],
    spas: Mapping[str, Spa],
    people: Mapping[str, Person],
    skills: Mapping[str, Skill],
    office: Person,
    today: date,
) -> None:
    opens, closes = (time.fromisoformat(at) for at in entry["window"]) if "window" in entry else (None, None)
    add_agreement(
        spa=spas[entry["spa"]],
        by=office,
        skills=[skills[name] for name in entry.get("skills", ())],
        frequency=entry["frequency"],
        times_a_week=entry.get("times"),
        every_weeks=entry.get("every"),
        weekdays_allowed=weekday_bits(entry.get("days", range(7))),
        min_days_between=entry.get("gap"),
        window_from=opens,
        window_to=closes,
        minutes_on_site=entry["minutes"],
        starts_on=today - timedelta(days=AGREED_DAYS_AGO),
        preferred=people[entry["preferred"]] if "preferred" in entry else None,
    )


def _add_calendar(entry: Mapping[str, Any], site: Site, monday: date, office: Person) -> None:
    calendar = add_calendar(site=site, by=office, name=entry["name"])
    take_file(calendar=calendar, data=_as_calendar(entry["stays"], monday), by=office)


def _as_calendar(stays: list[list[int]], monday: date) -> bytes:
    """Stays as an iCalendar file (RFC 5545), each from one day of the week to another."""
    calendar = Calendar()
    calendar.add("prodid", "-//demonstration//bookings//")
    calendar.add("version", "2.0")
    for number, (first, last) in enumerate(stays):
        event = Event()
        event.add("uid", f"stay-{number}@bookings.example")
        event.add("dtstamp", datetime.combine(monday, time(6)))
        event.add("dtstart", monday + timedelta(days=first))
        event.add("dtend", monday + timedelta(days=last))
        event.add("summary", "Reserved")
        calendar.add_component(event)
    return bytes(calendar.to_ical())
