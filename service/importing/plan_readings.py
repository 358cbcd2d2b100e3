"""What each row of past readings would do: one row is a spa, a time, and what was read."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time
from typing import Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.utils.dateparse import parse_datetime

from accounts.models import Person
from service.importing.columns import KINDS, TAKEN_AT
from service.importing.known import Known, NotFound
from service.importing.models import Effect
from service.importing.plan import Planned, Twice, read_cells, start, text_of
from service.importing.tables import Row, Table
from service.shell.days import DayField
from service.visits.clock import lies_ahead, zone_of
from service.visits.editing import Refused
from service.visits.imported import read_former_value
from service.visits.models import ImportedReading
from service.visits.parameters import BY_PARAMETER

_EARLIEST_YEAR = 1980
_FORMS = ("%d.%m.%Y %H:%M", "%d/%m/%Y %H:%M", "%d.%m.%Y %H:%M:%S", "%d/%m/%Y %H:%M:%S")
_DAY = DayField(name="The day")
Stored = Mapping[tuple[UUID, datetime, str], ImportedReading]


@dataclass
class ReadingPlanner:
    """Plans rows of past readings. Of what is stored it looks only at the times of the rows at hand."""

    known: Known
    by: Person
    taken: dict[tuple[UUID, datetime, str], int] = field(default_factory=dict)

    def plan(self, table: Table, rows: Sequence[Row], twice: Twice) -> list[Planned]:
        """The effects of some rows; one query."""
        zone = zone_of(self.by.organisation)
        found = [self._read(table, row, twice, zone) for row in rows]
        stored = _stored(found)
        for one in found:
            self._finish(one, stored)
        return found

    def _read(self, table: Table, row: Row, twice: Twice, zone: ZoneInfo) -> Planned:
        one = start(table.kind, row, twice)
        one.object_id = self._spa(row, one)
        at = _moment(row, one, zone)
        values = {name: read for name in BY_PARAMETER if (read := _value(name, row, one))}
        if one.object_id and at:
            self._refuse_second(one, at, values)
        if not values and not one.problems:
            one.wrong("", "", "Nothing was read: fill in at least one parameter, or take the row out.")
        method = read_cells(table.columns, row, one).get("method", "")
        one.payload = {"at": at, "method": method, "values": values}
        return one

    def _spa(self, row: Row, one: Planned) -> UUID | None:
        spa = KINDS["spa"]
        try:
            key, remark = self.known.meant(spa, row.cells)
        except NotFound as missing:
            one.wrong(missing.column, row.cells.get(missing.column, ""), str(missing))
            return None
        one.name = self.known.shelves["spa"].entries[key].name[:200]
        if remark:
            one.remarks.append(remark)
        if why := self.known.why_not_in_use(spa, key):
            one.wrong("spa", one.name, why)
        return key

    def _refuse_second(self, one: Planned, at: datetime, values: Iterable[str]) -> None:
        assert one.object_id
        for name in values:
            first = self.taken.setdefault((one.object_id, at, name), one.number)
            if first != one.number and not one.told(TAKEN_AT):
                one.wrong(TAKEN_AT, "", f"Row {first} has a reading of the same spa, time and parameter.")

    def _finish(self, one: Planned, stored: Stored) -> None:
        if one.problems:
            one.effect, one.payload = Effect.WRONG, {}
            return
        spa, at, method = one.object_id, one.payload["at"], one.payload["method"]
        assert spa
        had = {name: stored[spa, at, name] for name in one.payload["values"] if (spa, at, name) in stored}
        given = {name: read | {"method": method} for name, read in one.payload["values"].items()}
        stands = {name: was_of(reading) for name, reading in had.items()}
        differing = {name: read for name, read in given.items() if stands.get(name) != read}
        was = {name: stands[name] for name in differing if name in had}
        one.effect = Effect.SAME if not differing else Effect.CHANGED if had else Effect.NEW
        one.changes = [
            {"column": name, "old": said(was[name]) if name in was else "", "new": said(read)}
            for name, read in differing.items()
        ]
        keys = {name: str(had[name].pk) if name in had else str(uuid4()) for name in differing}
        one.payload = {"values": differing, "was": was, "parent": spa, "at": at, "keys": keys}


def was_of(reading: ImportedReading) -> dict[str, str]:
    """A stored reading as a row's payload holds it."""
    return {
        "typed": reading.typed,
        "typed_unit": reading.typed_unit,
        "value": f"{reading.value:.4f}",
        "bound": reading.bound,
        "method": reading.method,
    }


def said(read: Mapping[str, str]) -> str:
    return f"{read['bound']}{read['typed']} {read['typed_unit']}".rstrip()


def _value(name: str, row: Row, one: Planned) -> dict[str, str] | None:
    text = text_of(row, name)
    if not text:
        return None
    try:
        read = read_former_value(BY_PARAMETER[name], text)
    except Refused as wrong:
        one.wrong(name, text, str(wrong))
        return None
    return {
        "typed": read.typed,
        "typed_unit": read.typed_unit,
        "value": f"{read.value:.4f}",
        "bound": read.bound,
    }


def _moment(row: Row, one: Planned, zone: ZoneInfo) -> datetime | None:
    text = text_of(row, TAKEN_AT)
    if one.told(TAKEN_AT) and not text:
        return None
    at = _parsed(text, zone)
    if at is None:
        what = f"“{text[:40]}” is no time" if text else "The time is missing"
        one.wrong(TAKEN_AT, text, f"{what}: write 2026-05-31 14:30 or 31.05.2026 14:30.")
    elif lies_ahead(at):
        one.wrong(TAKEN_AT, text, "A test cannot lie in the future.")
    elif at.year < _EARLIEST_YEAR:
        one.wrong(TAKEN_AT, text, f"A test lies in {_EARLIEST_YEAR} or later.")
    else:
        return at
    return None


def _parsed(text: str, zone: ZoneInfo) -> datetime | None:
    """A moment; one without an offset is the firm's, a day alone its noon. ISO 8601, or the day first."""
    found = _iso(text)
    for form in _FORMS:
        if found is None:
            found = _as_form(text, form)
    if found is None:
        try:
            day = _DAY.clean(text)
        except ValidationError:
            return None
        found = datetime.combine(day, time(12))
    try:
        return found if found.tzinfo else found.replace(tzinfo=zone)
    except OverflowError:
        return None


def _iso(text: str) -> datetime | None:
    try:
        return parse_datetime(text) if ":" in text else None
    except ValueError:
        return None


def _as_form(text: str, form: str) -> datetime | None:
    try:
        return datetime.strptime(text, form)
    except ValueError:
        return None


def _stored(rows: Sequence[Planned]) -> Stored:
    spas = {one.object_id for one in rows if not one.problems}
    times = {one.payload["at"] for one in rows if not one.problems}
    if not spas:
        return {}
    found: Any = ImportedReading.objects.filter(spa__in=spas, taken_at__in=times)
    return {(reading.spa_id, reading.taken_at, reading.parameter): reading for reading in found}
