"""The firm's rows against what a preview saw of them: still so, and given other values.

Between a preview and its confirmation anybody may have changed anything.
"""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from service.importing.columns import KINDS
from service.importing.kind import as_text
from service.importing.models import ListRow

# A row of a list with its payload.
Loaded = tuple[ListRow, dict[str, Any]]


class ChangedMeanwhile(Exception):  # noqa: N818
    """The data is no longer what the preview showed. The message is for a person."""

    def __init__(self, row: ListRow, what: str) -> None:
        super().__init__(f"{KINDS[row.kind].one.capitalize()} in row {row.number}: {what}")


def key_of(row: ListRow) -> UUID:
    """The key of the thing that a row without errors is about."""
    assert row.object_id
    return row.object_id


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
