"""Builds the demonstration's two firms from ``fixtures/scenario.json``, relative to today.

The week behind us is *played*: the clock is set to each visit's time and the same use cases run that
a technician's page calls, so that the records, closures and decisions are real ones. The months before
were played in the same way once (``simulate``) and are read back from a file (``past``).
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import time_machine
from django.conf import settings
from django.contrib.auth.hashers import PBKDF2PasswordHasher, make_password
from django.db import transaction
from django.utils import timezone
from django.utils.crypto import get_random_string
from django_scopes import scope

from accounts.models import Organisation, Person, RoleGrant
from service.demo.past import Names, kept
from service.demo.play import play_visit
from service.demo.read_past import read_back
from service.demo.week import build_weeks
from service.sites.models import Client, ClientAccess, Site, Spa
from service.stock.models import Batch, Instrument, Product

SCENARIO = Path(settings.BASE_DIR) / "fixtures" / "scenario.json"
PASSWORD = "warm-water-demo"
PIN = "2580"


@dataclass
class Cast:
    """What the scenario's keys stand for, while a firm is built."""

    organisation: Organisation
    today: date
    password: str
    people: dict[str, Person] = field(default_factory=dict)
    clients: dict[str, Client] = field(default_factory=dict)
    spas: dict[str, Spa] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.organisation.time_zone)

    def moment(self, day: int, at: str) -> datetime:
        """The aware time of ``at`` ("09:20") on the scenario's day."""
        return datetime.combine(self.day(day), time.fromisoformat(at), self.zone)

    def day(self, offset: int) -> date:
        return self.today + timedelta(days=offset)

    def names(self) -> Names:
        return Names(self.organisation, self.today, self.spas, self.people, self.instruments)


def build_scenario() -> list[Cast]:
    """Both firms with their months behind them. Leaves existing rows alone; call on an empty database."""
    past = kept()["firms"]
    casts = []
    for firm, cast in found_firms():
        with scope(organisation=cast.organisation):
            with transaction.atomic():
                read_back(past[firm["name"]], cast.names())
            _play_week(cast, firm["visits"])
            office = planner(cast)
            build_weeks(
                cast.organisation, people=cast.people, spas=cast.spas, office=office, today=cast.today
            )
        casts.append(cast)
    people = [person.pk for cast in casts for person in cast.people.values()]
    Person.objects.filter(pk__in=people).update(signing_pin=make_password(PIN))
    return casts


def found_firms() -> Iterator[tuple[Mapping[str, Any], Cast]]:
    """Each firm's part of the scenario, and the firm with its people, spas and stock, without a visit yet."""
    password = make_password(PASSWORD)
    for firm in json.loads(SCENARIO.read_text())["firms"]:
        names = ("name", "phone", "email", "address", "time_zone", "guideline_id")
        organisation = Organisation.objects.create(**{name: firm[name] for name in names})
        today = timezone.localdate(timezone=ZoneInfo(organisation.time_zone))
        cast = Cast(organisation, today, password)
        with scope(organisation=organisation):
            for entry in firm["clients"]:
                _build_client(cast, entry)
            _build_people(cast, firm["people"])
            _build_stock(cast, firm)
        yield firm, cast


def _build_people(cast: Cast, people: list[Mapping[str, Any]]) -> None:
    for entry in people:
        person = Person.objects.create(
            email=f"{entry['key']}@example.org",
            password=cast.password,
            # Checked at every signature of the week behind us: hashed lightly until that is played.
            signing_pin=PBKDF2PasswordHasher().encode(PIN, get_random_string(16), iterations=1),
            organisation=cast.organisation,
            name=entry["name"],
        )
        RoleGrant.objects.bulk_create(RoleGrant(person=person, role=role) for role in entry["roles"])
        for client in entry.get("clients", []):
            ClientAccess.objects.create(
                organisation=cast.organisation, person=person, client=cast.clients[client]
            )
        cast.people[entry["key"]] = person


def _build_client(cast: Cast, entry: Mapping[str, Any]) -> None:
    fields = {name: value for name, value in entry.items() if name not in ("key", "sites")}
    client = Client.objects.create(organisation=cast.organisation, **fields)
    cast.clients[entry["key"]] = client
    for site_entry in entry["sites"]:
        fields = {name: value for name, value in site_entry.items() if name != "spas"}
        site = Site.objects.create(organisation=cast.organisation, client=client, **fields)
        for spa_entry in site_entry["spas"]:
            fields = {name: value for name, value in spa_entry.items() if name != "key"}
            cast.spas[spa_entry["key"]] = Spa.objects.create(
                organisation=cast.organisation, site=site, **fields
            )


def _build_stock(cast: Cast, firm: Mapping[str, Any]) -> None:
    for number, entry in enumerate(firm["products"]):
        product = Product.objects.create(organisation=cast.organisation, **entry)
        for half, life in enumerate((120 + 15 * number, 400)):
            Batch.objects.create(
                organisation=cast.organisation,
                product=product,
                code=f"{chr(65 + number)}{half + 1}-{7310 + 37 * number + half}",
                expires_on=cast.day(life),
            )
    for entry in firm["instruments"]:
        days = {
            "checked_on": entry.get("checked_day"),
            "check_due_on": entry.get("check_due_day"),
            "reagent_expires_on": entry.get("reagent_expires_day"),
        }
        cast.instruments[entry["key"]] = Instrument.objects.create(
            organisation=cast.organisation,
            name=entry["name"],
            method=entry["method"],
            serial=entry.get("serial", ""),
            reagent_lot=entry.get("reagent_lot", ""),
            **{name: cast.day(offset) for name, offset in days.items() if offset is not None},
        )


def _play_week(cast: Cast, visits: list[Mapping[str, Any]]) -> None:
    """Plan and carry out every visit at its own time, in the order of time."""
    now = timezone.now()
    for entry in visits:
        technician = cast.people[entry["technician"]]
        at = cast.moment(entry["day"], entry.get("at", "06:00"))
        # Today's early visits are played before now even when the demo starts in the night.
        moment = min(at, now - timedelta(minutes=150)) if entry.get("early") else at
        spa = cast.spas[entry["spa"]]
        spa.refresh_from_db()
        with time_machine.travel(min(moment, now), tick=True):
            play_visit(
                entry,
                spa=spa,
                technician=technician,
                cast_instruments=cast.instruments,
                pin=PIN,
                planned_on=cast.day(entry["day"]),
                office=planner(cast),
            )


def planner(cast: Cast) -> Person:
    return next(person for person in cast.people.values() if {"office", "owner"} & person.roles)
