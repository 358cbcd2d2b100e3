"""Shapes of what comes in and goes out: nothing unknown in, nothing hidden out."""

from collections.abc import Mapping
from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from accounts.models import Person
from accounts.roles import Action
from service.api.limits import PAGE_ROWS, PAGE_ROWS_MAX

UNKNOWN = "There is no such field here."


class Given(serializers.Serializer[Any]):
    """A body or a query of which every name is known."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping) and (unknown := sorted(set(data) - set(self.fields))):
            raise ValidationError({str(name)[:100]: [UNKNOWN] for name in unknown})
        return super().to_internal_value(data)


class Nothing(Given):
    """No body, or an empty object."""


class PageQuery(Given):
    """Which page of a list."""

    cursor = serializers.CharField(
        required=False, max_length=300, help_text="`next` of the page before; the first page without it."
    )
    limit = serializers.IntegerField(
        required=False,
        min_value=1,
        max_value=PAGE_ROWS_MAX,
        default=PAGE_ROWS,
        help_text="Rows a page at most.",
    )


class ChangedQuery(PageQuery):
    """A list of rows whose changes stand on the audit trail."""

    changed_since = serializers.DateTimeField(
        required=False, help_text="Only rows added or changed at or after this moment (RFC 3339)."
    )


class Shown(serializers.ModelSerializer[Any]):
    """A row as it goes out. ``only_for``: fields that are null for a token that may not do the action."""

    only_for: ClassVar[Mapping[str, Action]] = {}

    def to_representation(self, instance: Any) -> Any:
        person: Person = self.context["person"]
        shown = super().to_representation(instance)
        hidden = [name for name, action in self.only_for.items() if not person.may(action)]
        return {**shown, **dict.fromkeys(hidden)}


class PersonShown(serializers.Serializer[Person]):
    """Somebody of the firm."""

    id = serializers.UUIDField(read_only=True)
    name = serializers.CharField(read_only=True)
