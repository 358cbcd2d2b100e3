"""Writing past readings of a confirmed list."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from accounts.models import Person
from service.importing.columns import KINDS
from service.importing.meanwhile import ChangedMeanwhile, save_fields
from service.importing.models import ListImport, ListRow
from service.importing.plan_readings import was_of
from service.sites.archive import why_not_in_use
from service.visits.models import ImportedReading


def write_readings(
    rows: Sequence[ListRow], payloads: Sequence[dict[str, Any]], listing: ListImport, by: Person
) -> None:
    """Add and change them. Raises ChangedMeanwhile; IntegrityError."""
    spa_kind: Any = KINDS["spa"].model
    spas = spa_kind.objects.select_related("site__client").in_bulk({row.object_id for row in rows})
    stored = stored_readings(rows, payloads)
    readings = []
    for row, load in zip(rows, payloads, strict=True):
        spa = spas.get(row.object_id)
        why = why_not_in_use(spa) if spa else "its spa is no longer there."
        if why:
            raise ChangedMeanwhile(row, why)
        expect_readings(row, load, stored, expected=load["was"])
        readings += [_reading(load, name, spa, stored, listing, by) for name in load["values"]]
    save_fields(ImportedReading, readings, {"typed", "typed_unit", "value", "bound", "method"})


def stored_readings(
    rows: Sequence[ListRow], payloads: Sequence[dict[str, Any]]
) -> dict[Any, ImportedReading]:
    """Stored readings at the spas and times of these rows, by key, and by spa, time and parameter."""
    spas, times = {row.object_id for row in rows}, {moment(load) for load in payloads}
    found: dict[Any, ImportedReading] = {}
    for reading in ImportedReading.objects.filter(spa__in=spas, taken_at__in=times):
        found[str(reading.pk)] = found[reading.spa_id, reading.taken_at, reading.parameter] = reading
    return found


def moment(load: dict[str, Any]) -> datetime:
    """When a row's readings were taken, from its payload."""
    return datetime.fromisoformat(load["at"])


def expect_readings(
    row: ListRow, load: dict[str, Any], stored: dict[Any, ImportedReading], *, expected: dict[str, Any]
) -> None:
    """Refuse when a reading is not as expected, or there though none was. Raises ChangedMeanwhile."""
    at = moment(load)
    for name in load["values"]:
        there = stored.get((row.object_id, at, name))
        is_now = was_of(there) if there else None
        if is_now != expected.get(name):
            raise ChangedMeanwhile(row, f"{name} of that time has been changed meanwhile.")


def _reading(
    load: dict[str, Any],
    name: str,
    spa: Any,
    stored: dict[Any, ImportedReading],
    listing: ListImport,
    by: Person,
) -> ImportedReading:
    reading = stored.get(load["keys"][name]) or ImportedReading(
        pk=UUID(load["keys"][name]),
        organisation_id=listing.organisation_id,
        spa=spa,
        parameter=name,
        taken_at=moment(load),
        list_key=listing.pk,
        list_name=listing.file_name,
        imported_by=by,
    )
    for field, value in load["values"][name].items():
        setattr(reading, field, value)
    return reading
