"""The demonstration's past: read back as the product would have written it, and made again from its seed."""

from collections.abc import Mapping
from datetime import timedelta
from itertools import pairwise
from statistics import median
from typing import Any

import pytest
import time_machine
from django.db import DatabaseError, transaction
from django.utils import timezone
from django_scopes import scope

from service.demo.past import FILE, TABLES, VISIT, kept
from service.demo.read_past import read_back
from service.demo.scenario import Cast, found_firms
from service.demo.simulate import BASE, DAYS, SEED, simulate_again
from service.visits.canonical import canonical, commit, digest
from service.visits.fitness import fitness_of
from service.visits.models import Closure, Reading, Record, Task, TaskKind, Visit, VisitState

PAST = kept()
SPAS = PAST["firms"]["Kestrel Lane Spa Care"]


def _with(kind: str) -> str:
    """A spa with few visits that has a row of some kind."""
    return min((key for key, rows in SPAS.items() if rows[kind]), key=lambda key: len(SPAS[key]["visits"]))


def _drained() -> str:
    done = TABLES["tasks"][1].index("kind")
    return next(key for key, rows in SPAS.items() if any(t[done] == "drain_refill" for t in rows["tasks"]))


CHOSEN = {_with("visits"), _with("closures"), _with("corrected"), _drained()}


@pytest.fixture
def cast(db: None) -> Cast:
    """The first firm of the scenario, with the past of a few of its spas."""
    _, cast = next(found_firms())
    with scope(organisation=cast.organisation), transaction.atomic():
        read_back({key: SPAS[key] for key in CHOSEN}, cast.names())
    return cast


@pytest.mark.django_db(databases=[])
def test_the_file_is_small_and_tells_months_of_sixty_spas() -> None:
    visits = [visit for spas in PAST["firms"].values() for rows in spas.values() for visit in rows["visits"]]
    states = {visit[VISIT.index("state")] for visit in visits}

    assert FILE.stat().st_size < 1_500_000
    assert (PAST["seed"], PAST["days"]) == (SEED, DAYS)
    assert sum(len(spas) for spas in PAST["firms"].values()) >= 58
    assert len(visits) > 450
    assert {"signed", "missed", "no_access", "bathers"} <= states


@pytest.mark.django_db(databases=[])
def test_nobody_of_the_past_is_at_two_places_at_once_and_drives_take_as_long_as_drives() -> None:
    days: dict[tuple[str, str], list[tuple[str, str]]] = {}
    person, on, begun, ended = (
        VISIT.index(name) for name in ("technician", "planned_on", "started_at", "ended_at")
    )
    for spas in PAST["firms"].values():
        for rows in spas.values():
            for visit in rows["visits"]:
                if visit[begun]:
                    days.setdefault((visit[person], visit[on]), []).append((visit[begun], visit[ended]))
    gaps = [
        (_seconds(after[0]) - _seconds(before[1])) / 60
        for visits in days.values()
        for before, after in pairwise(sorted(visits))
    ]

    assert len(gaps) > 100
    assert min(gaps) >= 0
    assert 2 < median(gap for gap in gaps if gap) < 12


def _seconds(moment: str) -> float:
    """Of the day, from "@-12T09:25:00"."""
    hours, minutes, seconds = moment.partition("T")[2].split(":")
    return 3600 * int(hours) + 60 * int(minutes) + float(seconds)


def test_every_record_of_the_past_verifies(cast: Cast) -> None:
    with scope(organisation=cast.organisation):
        records = list(Record.objects.prefetch_related("personal_data"))
        signed = Visit.objects.filter(state=VisitState.SIGNED).count()

    assert len(records) == signed > 0
    for record in records:
        assert record.canonical == canonical(record.content)
        assert record.digest == digest(record.canonical)
        stated = dict(_commitments(record.content))
        assert {one.name: commit(one.salt, one.value) for one in record.personal_data.all()} == stated


def _commitments(part: Any) -> list[tuple[str, str]]:
    """Every commitment in a record's content, by the name of what it stands for."""
    if isinstance(part, list):
        return [found for item in part for found in _commitments(item)]
    if not isinstance(part, dict):
        return []
    if part.keys() == {"name", "commitment"}:
        return [(part["name"], part["commitment"])]
    return [found for item in part.values() for found in _commitments(item)]


def test_a_record_says_what_its_rows_say(cast: Cast) -> None:
    with scope(organisation=cast.organisation):
        record = Record.objects.select_related("visit").order_by("signed_at").first()
        assert record is not None
        rows = Reading.objects.filter(visit=record.visit).order_by("taken_at", "id")
        readings = [(row.parameter, row.moment, row.typed) for row in rows]

    told = [(one["parameter"], one["moment"], one["typed"]) for one in record.content["readings"]]
    assert sorted(told) == sorted(readings)
    assert record.content["visit"]["id"] == str(record.visit_id)
    assert record.content["visit"]["planned_on"] == str(record.visit.planned_on)


def test_what_was_read_back_is_as_frozen_as_what_was_signed_today(cast: Cast) -> None:
    with scope(organisation=cast.organisation):
        reading = Reading.objects.filter(visit__state=VisitState.SIGNED).first()
        assert reading is not None
        with pytest.raises(DatabaseError, match="signed"), transaction.atomic():
            Reading.objects.filter(pk=reading.pk).update(typed="9.9")
        with pytest.raises(DatabaseError), transaction.atomic():
            Record.objects.update(digest="0" * 64)


def test_the_past_lies_before_today_and_explains_itself(cast: Cast) -> None:
    now = timezone.now()
    with scope(organisation=cast.organisation):
        assert not Visit.objects.filter(planned_on__gte=cast.today).exists()
        assert Visit.objects.filter(planned_on__lt=cast.today - timedelta(days=100)).exists()
        assert Task.objects.filter(kind=TaskKind.DRAIN_REFILL, state="done").exists()
        assert Closure.objects.filter(reopened_at__isnull=False).exists()
        assert fitness_of(cast.spas[_with("visits")], now).state in {"not_tested", "closed", "retest", "fit"}


def test_a_spa_simulated_again_from_the_seed_gives_the_values_of_the_file(db: None) -> None:
    key = _with("visits")
    with time_machine.travel(BASE, tick=False):
        firm, cast = next(found_firms())
        with scope(organisation=cast.organisation):
            again = simulate_again(firm, cast, key, SPAS[key])

    assert _values(again) == _values(SPAS[key])


def _values(rows: Mapping[str, Any]) -> dict[str, Any]:
    """What was read, dosed and decided; how the engine words it may change with the engine."""
    wanted = {
        "readings": ("visit", "parameter", "moment", "typed"),
        "steps": ("visit", "action", "product", "actual_mass_g", "state"),
        "tasks": ("visit", "kind", "state"),
    }
    told = {
        name: [[row[TABLES[name][1].index(column)] for column in columns] for row in rows[name]]
        for name, columns in wanted.items()
    }
    visit = [VISIT.index(column) for column in ("planned_on", "state", "verdict", "ended_at")]
    return told | {"visits": [[row[place] for place in visit] for row in rows["visits"]]}
