"""Writing a list that a person has looked at: all of it in one transaction, or nothing.

Between the preview and this moment anybody may have changed anything. What the preview was worked out
from is therefore held against the database again, inside the transaction; a difference stops it.
"""

import json
import threading
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.utils import timezone
from django_scopes import scopes_disabled

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action
from service.importing.columns import KINDS, Kind, as_text
from service.importing.models import Effect, ListImport, ListRow, ListState
from service.importing.plan_readings import was_of
from service.importing.upload import CHUNK_ROWS, forget_file, waiting
from service.runs.ask import ask_run
from service.runs.models import Run
from service.runs.work import RunFailed, Stopped, finish, step
from service.sites.archive import why_not_in_use
from service.visits.models import ImportedReading

WRITE_TASK = "importing.write_list"
_WRITTEN = (Effect.NEW, Effect.CHANGED)
_LOADED = {"client": (), "site": ("client",), "spa": ("site__client",)}


class ChangedMeanwhile(Exception):  # noqa: N818
    """The data is no longer what the preview showed. The message is for a person."""

    def __init__(self, row: ListRow, what: str) -> None:
        super().__init__(f"{KINDS[row.kind].one.capitalize()} in row {row.number}: {what}")


@transaction.atomic
def confirm_list(*, listing: ListImport, only_good: bool, by: Person) -> Run:
    """Ask for a list to be written as its preview shows it. Returns the run.

    only_good  Leave out the rows that have errors; without it a list with errors is refused.

    Raises NotAllowed; ValidationError when it has errors, changes nothing, or no longer waits.
    """
    require(by, Action.IMPORT_LISTS)
    row = waiting(listing)
    if row.state != ListState.READY or row.problem:
        raise ValidationError("Read the list again first.")
    if (wrong := row.count(Effect.WRONG)) and not only_good:
        rows = "1 row has errors" if wrong == 1 else f"{wrong:,} rows have errors"
        raise ValidationError(f"{rows}. Mend the list, or choose to import the rows without errors.")
    if not row.count(Effect.NEW) + row.count(Effect.CHANGED):
        raise ValidationError("Nothing in this list is new or changed.")
    row.run = ask_run(
        task=WRITE_TASK,
        arguments={"list": str(row.pk)},
        title=f"Importing {row.file_name}"[:200],
        by=by,
        organisation=by.organisation,
    )
    row.state, row.only_good = ListState.WRITING, only_good
    row.save(update_fields=["run", "state", "only_good"])
    return row.run


def write_list(run: Run) -> None:
    """The work of a confirmed list. Done again after a crash it finds nothing there, or all of it."""
    listing = ListImport.objects.get(pk=run.arguments["list"])
    by = run.asked_by
    if listing.state != ListState.WRITING or listing.run_id != run.pk:
        return
    if by is None or not by.may(Action.IMPORT_LISTS):
        _back_to_preview(listing, "")
        raise RunFailed("Whoever asked for this may not import lists any more.")
    try:
        _write(listing, by, run)
    except ChangedMeanwhile as changed:
        _back_to_preview(listing, str(changed))
        raise RunFailed(f"Nothing was imported. {changed}") from changed


def _back_to_preview(listing: ListImport, problem: str) -> None:
    still = ListImport.objects.filter(pk=listing.pk, state=ListState.WRITING)
    still.update(state=ListState.READY, problem=problem[:400])


def _write(listing: ListImport, by: Person, run: Run) -> None:
    total = listing.count(Effect.NEW) + listing.count(Effect.CHANGED)
    step(run, done=0, total=total, doing="Writing all rows in one go")
    with transaction.atomic():
        row = ListImport.objects.select_for_update().get(pk=listing.pk)
        done = 0
        for kind in KINDS.values():
            for rows in rows_of(row, kind):
                _stop_if_asked(run)
                _write_rows(kind, rows, row, by)
                done += len(rows)
                _tell_outside(run, done, total, f"Writing {kind.title.lower()}")
        row.state, row.ended_at = ListState.DONE, timezone.now()
        row.save(update_fields=["state", "ended_at"])
        counts = {key: {name: n for name, n in kind.items() if n} for key, kind in row.totals.items()}
        record_event(action="list.imported", subject=row, by=by, detail=counts)
        forget_file(row)
        finish(run)


def rows_of(listing: ListImport, kind: Kind) -> Iterator[list[ListRow]]:
    """The rows of one kind that are new or change something, in order, a chunk at a time."""
    rows = ListRow.objects.filter(listing=listing, kind=kind.key, effect__in=_WRITTEN).order_by("order")
    after = 0
    while chunk := list(rows.filter(order__gt=after)[:CHUNK_ROWS]):
        yield chunk
        after = chunk[-1].order


def _stop_if_asked(run: Run) -> None:
    if Run.objects.filter(pk=run.pk, cancel_asked=True).exists():
        raise Stopped


def _tell_outside(run: Run, done: int, total: int, doing: str) -> None:
    """Say how far it is where others see it before the transaction ends: over a connection of its own.

    SQLite lets nobody write beside an open transaction; there the work is said once, before it.
    """
    if connection.vendor != "postgresql":
        return

    def tell() -> None:
        try:
            with scopes_disabled():
                step(run, done=done, total=total, doing=doing)
        except Stopped:
            pass  # seen by ``_stop_if_asked``, or by the end of the run
        finally:
            connection.close()

    thread = threading.Thread(target=tell, name=f"progress of {run.pk}")
    thread.start()
    thread.join()


def _write_rows(kind: Kind, rows: Sequence[ListRow], listing: ListImport, by: Person) -> None:
    payloads = [json.loads(row.payload) for row in rows]
    try:
        with transaction.atomic():
            if kind.model is None:
                _write_readings(rows, payloads, listing, by)
                return
            new = [(row, load) for row, load in zip(rows, payloads, strict=True) if row.effect == Effect.NEW]
            old = [(row, load) for row, load in zip(rows, payloads, strict=True) if row.effect != Effect.NEW]
            _add(kind, new, by)
            _change(kind, old, by)
    except IntegrityError as clash:
        raise ChangedMeanwhile(rows[0], "or near it, somebody has added the same meanwhile.") from clash


Loaded = tuple[ListRow, dict[str, Any]]


def _add(kind: Kind, new: Sequence[Loaded], by: Person) -> None:
    if not new:
        return
    model: Any = kind.model
    parents = _parents(kind, new)
    _refuse_taken(kind, new)
    things = []
    for row, load in new:
        thing = model(pk=row.object_id, organisation=by.organisation)
        if kind.above:
            setattr(thing, kind.above, parents[load["parent"]])
        for name, value in load["values"].items():
            setattr(thing, name, stored_value(model, name, value))
        things.append(thing)
    model.objects.bulk_create(things)


def _parents(kind: Kind, new: Sequence[Loaded]) -> dict[str, Any]:
    if not kind.above:
        return {}
    model: Any = KINDS[kind.above].model
    keys = {load["parent"] for _, load in new}
    found = model.objects.select_related(*_LOADED[kind.above]).in_bulk(keys)
    parents = {str(key): parent for key, parent in found.items()}
    for row, load in new:
        if load["parent"] not in parents:
            raise ChangedMeanwhile(row, f"its {kind.above} is no longer there.")
        if why := why_not_in_use(parents[load["parent"]]):
            raise ChangedMeanwhile(row, why)
    return parents


def _refuse_taken(kind: Kind, new: Sequence[Loaded]) -> None:
    """References, and names of things without one, that were free when the preview was made."""
    model: Any = kind.model
    references = {load["values"].get("reference") for _, load in new} - {None}
    taken = set(model.objects.filter(reference__in=references).values_list("reference", flat=True))
    names = {load["values"]["name"] for _, load in new if not load["values"].get("reference")}
    columns = ("name", f"{kind.above}_id") if kind.above else ("name", "name")
    there = {(name, str(above)) for name, above in model.objects.filter(name__in=names).values_list(*columns)}
    for row, load in new:
        values = load["values"]
        if values.get("reference") in taken:
            raise ChangedMeanwhile(row, f"the reference “{values['reference']}” has been taken meanwhile.")
        above = load["parent"] if kind.above else values["name"]
        if not values.get("reference") and (values["name"], above) in there:
            raise ChangedMeanwhile(row, f"another of the name “{values['name']}” has been added meanwhile.")


def _change(kind: Kind, old: Sequence[Loaded], by: Person) -> None:
    if not old:
        return
    model: Any = kind.model
    stored = model.objects.select_for_update(of=("self",)).select_related(*_LOADED[kind.key])
    things = stored.in_bulk([row.object_id for row, _ in old])
    changed: set[str] = set()
    for row, load in old:
        thing = things.get(row.object_id)
        if thing is None:
            raise ChangedMeanwhile(row, "it is no longer there.")
        if why := why_not_in_use(thing):
            raise ChangedMeanwhile(row, why)
        if kind.key == "spa" and {"volume_l", "volume_basis"} & load["values"].keys():
            require(by, Action.CHANGE_VOLUME)
        put(thing, expected=load["was"], becomes=load["values"], row=row)
        changed |= load["values"].keys()
    save_fields(model, list(things.values()), changed)


def put(thing: Any, *, expected: dict[str, Any], becomes: dict[str, Any], row: ListRow) -> None:
    """Give a thing other values, if it still has those expected. Raises ChangedMeanwhile."""
    if differing := differs(thing, expected):
        raise ChangedMeanwhile(row, f"{', '.join(differing)} of {thing} has been changed meanwhile.")
    for name, value in becomes.items():
        setattr(thing, name, stored_value(type(thing), name, value))


def differs(thing: Any, expected: dict[str, Any]) -> list[str]:
    """Names of the fields in which a thing is not as expected."""
    return [
        name
        for name, value in expected.items()
        if as_text(getattr(thing, name)) != as_text(stored_value(type(thing), name, value))
    ]


def stored_value(model: Any, name: str, value: Any) -> Any:
    """A value from a payload's JSON as the field holds it."""
    return model._meta.get_field(name).to_python(value)


def save_fields(model: Any, things: Sequence[Any], names: set[str]) -> None:
    """Save these fields of many rows in one statement each chunk."""
    model.objects.bulk_create(
        things, update_conflicts=True, unique_fields=["id"], update_fields=sorted(names)
    )


def _write_readings(
    rows: Sequence[ListRow], payloads: Sequence[dict[str, Any]], listing: ListImport, by: Person
) -> None:
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
