"""What a request may ask of a list, and what it names in its body."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from accounts.roles import Action
from service.sites.listing import in_state

SEE = (Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
EDIT = (Action.EDIT_SITES,)
NOT_HERE = "There is no such {} for this token."


class InUse(serializers.ChoiceField):
    """Rows in use, archived ones, or all."""

    def __init__(self) -> None:
        super().__init__(["in_use", "archived", "all"], default="all", help_text="Which rows.")


def of_state(given: dict[str, Any], *archived: str) -> Any:
    return in_state({"in_use": ""}.get(given["state"], given["state"]), archived)


def named(rows: QuerySet[Any], field: str, key: UUID) -> Any:
    """The row that a body names, if the token may see it. Raises ValidationError at the field."""
    row = rows.filter(pk=key).first()
    if row is None:
        raise ValidationError({field: [NOT_HERE.format(rows.model._meta.verbose_name)]})
    return row


def only(given: dict[str, Any], **lookups: str) -> dict[str, Any]:
    """The lookups of those filters that were given."""
    return {lookup: given[name] for name, lookup in lookups.items() if name in given}
