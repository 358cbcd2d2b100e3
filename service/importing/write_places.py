"""Writing clients, sites and spas of a confirmed list."""

from collections.abc import Sequence
from typing import Any

from accounts.access import require
from accounts.models import Person
from accounts.roles import Action
from service.importing.columns import KINDS
from service.importing.kind import Kind
from service.importing.meanwhile import ChangedMeanwhile, Loaded, put, save_fields, stored_value
from service.importing.models import Effect
from service.sites.archive import why_not_in_use

_LOADED = {"client": (), "site": ("client",), "spa": ("site__client",)}


def write_places(kind: Kind, rows: Sequence[Loaded], by: Person) -> None:
    """Add and change them. Raises ChangedMeanwhile; IntegrityError; NotAllowed."""
    _add(kind, [one for one in rows if one[0].effect == Effect.NEW], by)
    _change(kind, [one for one in rows if one[0].effect != Effect.NEW], by)


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
