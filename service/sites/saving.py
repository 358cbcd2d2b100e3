"""Adding and changing a row of the firm's register, with its audit row, in one transaction.

The use cases of sites and stock go through here, so that a page, the API and a task cannot differ in
what they check.
"""

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils import timezone

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from accounts.roles import Action

Row = TypeVar("Row", bound=OwnedByOrganisation)


@transaction.atomic
def add_row(
    row: Row, *, action: str, by: Person, only_one: Mapping[str, tuple[str, ...]] = MappingProxyType({})
) -> Row:
    """Check and save a new ``row``.

    only_one  Field -> the other fields within which its value may stand once in the organisation:
              ``{"code": ("product",)}``. An empty value may stand any number of times.

    Raises ValidationError by field.
    """
    _check(row, only_one)
    _save(row, only_one, force_insert=True)
    record_event(action=action, subject=row, by=by)
    return row


@transaction.atomic
def change_row(
    row: Row,
    fields: Mapping[str, Any],
    *,
    action: str,
    by: Person,
    only_one: Mapping[str, tuple[str, ...]] = MappingProxyType({}),
    figures: tuple[str, ...] = (),
    restricted: Mapping[str, Action] = MappingProxyType({}),
) -> Row:
    """Check and save new values of ``row``; nothing is written when nothing differs.

    fields      Field -> new value. Fields left out keep what the database holds by now.
    figures     Fields whose old and new value the audit trail keeps; of others only the name.
    restricted  Field -> the action that ``by`` must be allowed when the field's value differs.

    Returns the row as stored. Raises ValidationError by field; NotAllowed.
    """
    stored = type(row).objects.select_for_update().get(pk=row.pk)
    was = {name: getattr(stored, name) for name in fields}
    changed = sorted(name for name, value in fields.items() if value != was[name])
    if not changed:
        return stored
    for name in changed:
        if name in restricted:
            require(by, restricted[name])
        setattr(stored, name, fields[name])
    _check(stored, only_one)
    _save(stored, only_one, update_fields=changed)
    kept = {name: [_plain(was[name]), _plain(getattr(stored, name))] for name in changed if name in figures}
    detail: dict[str, Any] = {"changed": changed, **kept}
    record_event(action=action, subject=stored, by=by, detail=detail)
    return stored


@transaction.atomic
def archive_row(row: OwnedByOrganisation, *, by: Person) -> None:
    """Take a row out of use; archiving twice keeps the first time."""
    if _rows(row).filter(archived_at=None).update(archived_at=timezone.now()):
        record_event(action=f"{row._meta.model_name}.archived", subject=row, by=by)


@transaction.atomic
def restore_row(row: OwnedByOrganisation, *, by: Person) -> None:
    """Bring a row back into use; one that is in use stays so."""
    if _rows(row).exclude(archived_at=None).update(archived_at=None):
        record_event(action=f"{row._meta.model_name}.restored", subject=row, by=by)


def _rows(row: OwnedByOrganisation) -> "QuerySet[Any]":
    return type(row).objects.filter(pk=row.pk)


def _plain(value: Any) -> Any:
    return value if isinstance(value, str | int | list | dict | None) else str(value)


def _check(row: OwnedByOrganisation, only_one: Mapping[str, tuple[str, ...]]) -> None:
    row.full_clean(validate_constraints=False)
    for field, within in only_one.items():
        _refuse_second(row, field, within)


def _save(row: OwnedByOrganisation, only_one: Mapping[str, tuple[str, ...]], **how: Any) -> None:
    try:
        with transaction.atomic():
            row.save(**how)
    except IntegrityError:
        # Somebody may have taken the reference between the check and the save.
        for field, within in only_one.items():
            _refuse_second(row, field, within)
        raise


def _refuse_second(row: OwnedByOrganisation, field: str, within: tuple[str, ...]) -> None:
    value = getattr(row, field)
    if not value:
        return
    same = {name: getattr(row, name) for name in within} | {field: value}
    others = type(row).objects.filter(organisation=row.organisation_id, **same).exclude(pk=row.pk)
    if other := others.first():
        what = row._meta.verbose_name
        archived = " (archived)" if getattr(other, "archived_at", None) else ""
        named = f", {other}" if str(other) != value else ""
        raise ValidationError({field: f"“{value}” is already taken by another {what}{named}{archived}."})


def link_only(links: "type[Row]", owner: Mapping[str, Any], *, to: str, wanted: Iterable[Any]) -> bool:
    """Make ``wanted`` the rows that an owner is linked to. Returns whether anything changed.

    links  The model of the links.
    owner  Its field and row: ``{"agreement": agreement}``.
    to     Its other field.
    """
    found = {row.pk: row for row in wanted}
    rows: QuerySet[Any] = links._default_manager.filter(**owner)
    had = set(rows.values_list(f"{to}_id", flat=True))
    rows.exclude(**{f"{to}__in": found}).delete()
    (one,) = owner.values()
    for key in found.keys() - had:
        links._default_manager.create(organisation=one.organisation, **owner, **{to: found[key]})
    return had != set(found)
