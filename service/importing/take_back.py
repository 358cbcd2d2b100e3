"""Taking an import back: what it added goes, what it changed is set back, while nothing depends on it."""

import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import PROTECT, Count, Q
from django.utils import timezone

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action
from service.importing.columns import KINDS
from service.importing.kind import Kind
from service.importing.meanwhile import ChangedMeanwhile, Loaded, differs, key_of, save_fields, stored_value
from service.importing.models import Effect, ListImport, ListRow, ListState
from service.importing.write import rows_of
from service.importing.write_agreements import agreement_differs, agreements_of, set_back_agreements
from service.importing.write_readings import expect_readings, stored_readings
from service.visits.models import ImportedReading

REASONS_SHOWN = 40


@dataclass(frozen=True)
class Undoing:
    """What taking back would do, and why it cannot be done; ``more`` when not every reason is listed."""

    removes: dict[str, int]
    sets_back: dict[str, int]
    reasons: list[str]
    more: bool


def undoing_of(listing: ListImport) -> Undoing:
    """Look what taking back a list would do. Writes nothing."""
    reasons = list(islice(_reasons(listing), REASONS_SHOWN + 1))
    removes, sets_back = (
        {KINDS[key].title: kind[effect] for key, kind in listing.totals.items() if kind.get(effect)}
        for effect in (Effect.NEW, Effect.CHANGED)
    )
    return Undoing(removes, sets_back, reasons[:REASONS_SHOWN], len(reasons) > REASONS_SHOWN)


@transaction.atomic
def take_back(*, listing: ListImport, by: Person) -> None:
    """Undo an import. Raises NotAllowed; ValidationError with what depends on it, or when it is not done."""
    require(by, Action.IMPORT_LISTS)
    row = ListImport.objects.select_for_update().get(pk=listing.pk)
    if row.state != ListState.DONE:
        raise ValidationError("Only a list that was imported can be taken back, and only once.")
    if reasons := list(islice(_reasons(row), REASONS_SHOWN)):
        raise ValidationError(reasons)
    for kind in reversed(KINDS.values()):
        for rows in rows_of(row, kind):
            _undo(kind, rows)
    row.state, row.ended_at = ListState.TAKEN_BACK, timezone.now()
    row.save(update_fields=["state", "ended_at"])
    counts = {key: {name: n for name, n in kind.items() if n} for key, kind in row.totals.items()}
    record_event(action="list.taken_back", subject=row, by=by, detail=counts)


def _undo(kind: Kind, rows: Sequence[ListRow]) -> None:
    payloads = [json.loads(row.payload) for row in rows]
    if kind.key == "reading":
        _undo_readings(rows, payloads)
        return
    if kind.key == "agreement":
        set_back_agreements(list(zip(rows, payloads, strict=True)))
        return
    model: Any = kind.model
    added = [row.object_id for row in rows if row.effect == Effect.NEW]
    model.objects.filter(pk__in=added).delete()
    things = model.objects.in_bulk([row.object_id for row in rows if row.effect == Effect.CHANGED])
    names: set[str] = set()
    for row, load in zip(rows, payloads, strict=True):
        if thing := things.get(row.object_id):
            for name, value in load["was"].items():
                setattr(thing, name, stored_value(model, name, value))
            names |= load["was"].keys()
    if names:
        save_fields(model, list(things.values()), names)


def _undo_readings(rows: Sequence[ListRow], payloads: Sequence[dict[str, Any]]) -> None:
    stored = stored_readings(rows, payloads)
    added, changed = [], []
    for load in payloads:
        for name, key in load["keys"].items():
            if name not in load["was"]:
                added.append(key)
                continue
            reading = stored[key]
            for field, value in load["was"][name].items():
                setattr(reading, field, value)
            changed.append(reading)
    ImportedReading.objects.filter(pk__in=added).delete()
    if changed:
        save_fields(ImportedReading, changed, {"typed", "typed_unit", "value", "bound", "method"})


def _reasons(listing: ListImport) -> Iterator[str]:
    """Why a list cannot be taken back, a sentence each: what was changed since, what points to it."""
    for kind in KINDS.values():
        for rows in rows_of(listing, kind):
            payloads = [json.loads(row.payload) for row in rows]
            if kind.key == "reading":
                yield from _readings_changed(rows, payloads)
                continue
            if kind.key == "agreement":
                yield from _agreements_changed(kind, list(zip(rows, payloads, strict=True)))
            else:
                yield from _changed(kind, rows, payloads)
            yield from _pointed_to(listing, kind, rows)


def _changed(kind: Kind, rows: Sequence[ListRow], payloads: Sequence[dict[str, Any]]) -> Iterator[str]:
    model: Any = kind.model
    things = model.objects.in_bulk([row.object_id for row in rows])
    for row, load in zip(rows, payloads, strict=True):
        thing = things.get(row.object_id)
        if thing is None:
            yield f"{_named(kind, row)} is no longer there."
        elif differing := differs(thing, load["values"]):
            yield f"{_named(kind, row)} was changed since: {', '.join(differing)}."
        elif row.effect == Effect.NEW and thing.archived_at:
            yield f"{_named(kind, row)} was archived since."


def _pointed_to(listing: ListImport, kind: Kind, rows: Sequence[ListRow]) -> Iterator[str]:
    """What has come to belong to the things that the list added, other than by the list itself."""
    added = {row.object_id: row for row in rows if row.effect == Effect.NEW}
    model: Any = kind.model
    found: Counter[tuple[Any, Any]] = Counter()
    for relation in _relations(model):
        others: Any = relation.related_model
        rows_there = others.objects.filter(**{f"{relation.field.name}__in": list(added)})
        counted = rows_there.exclude(_of_the_list(listing, others)).order_by()
        for key, count in counted.values_list(relation.field.name).annotate(Count("pk")):
            found[key, others] += count
    for (key, others), count in found.items():
        what = others._meta.verbose_name if count == 1 else others._meta.verbose_name_plural
        yield f"{_named(kind, added[key])} has {count} {what}."


def _relations(model: Any) -> Iterator[Any]:
    """What points to a model, but rows that are part of what they point to and go with it."""
    for relation in model._meta.get_fields(include_hidden=True):
        if relation.one_to_many and (not relation.hidden or relation.on_delete is PROTECT):
            yield relation


def _of_the_list(listing: ListImport, model: Any) -> Q:
    if model is ImportedReading:
        return Q(list_key=listing.pk)
    key = next((kind.key for kind in KINDS.values() if kind.model is model), None)
    if key is None:
        return Q(pk__in=[])
    added = ListRow.objects.filter(listing=listing, kind=key, effect=Effect.NEW)
    return Q(pk__in=added.values("object_id"))


def _agreements_changed(kind: Kind, rows: Sequence[Loaded]) -> Iterator[str]:
    agreements = agreements_of(rows)
    for row, load in rows:
        agreement = agreements.get(key_of(row))
        if agreement is None:
            yield f"{_named(kind, row)} is no longer there."
        elif differing := agreement_differs(agreement, load["values"]):
            yield f"{_named(kind, row)} was changed since: {', '.join(differing)}."


def _readings_changed(rows: Sequence[ListRow], payloads: Sequence[dict[str, Any]]) -> Iterator[str]:
    stored = stored_readings(rows, payloads)
    for row, load in zip(rows, payloads, strict=True):
        try:
            expect_readings(row, load, stored, expected=load["values"])
        except ChangedMeanwhile:
            yield f"Readings of {row.name}, row {row.number}, were changed since."


def _named(kind: Kind, row: ListRow) -> str:
    return f"{kind.one.capitalize()} {row.name} (row {row.number})"
