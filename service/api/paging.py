"""Pages of a list by a cursor: where the page before ended, so that rows added meanwhile shift nothing."""

import base64
import binascii
import json
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from django.core.exceptions import ValidationError as ModelError
from django.db.models import Model, Q, QuerySet
from rest_framework.exceptions import ValidationError

Row = TypeVar("Row", bound=Model)
_WRONG = "This is not a cursor of this list. Begin again without one."


@dataclass(frozen=True)
class Order:
    """The fixed order of a list: a field that is never empty, then the key.

    backwards  Newest first.
    """

    field: str = "id"
    backwards: bool = False

    @property
    def fields(self) -> tuple[str, ...]:
        return ("id",) if self.field == "id" else (self.field, "id")


@dataclass(frozen=True)
class RowsOfPage(Generic[Row]):
    """The rows of one page, and the cursor of the next; "" after the last."""

    rows: list[Row]
    next: str


BY_KEY = Order()


def page_of(rows: QuerySet[Row], *, order: Order, cursor: str, limit: int) -> RowsOfPage[Row]:
    """The rows after ``cursor``, at most ``limit``; one query. Raises ValidationError for ``cursor``."""
    sign = "-" if order.backwards else ""
    ordered = rows.order_by(*(f"{sign}{name}" for name in order.fields))
    if cursor:
        ordered = ordered.filter(_after(order, _read(rows.model, order, cursor)))
    found = list(ordered[: limit + 1])
    more = len(found) > limit
    return RowsOfPage(found[:limit], _write(order, found[limit - 1]) if more else "")


def _after(order: Order, ended: list[Any]) -> Q:
    beyond = "lt" if order.backwards else "gt"
    if len(ended) == 1:
        return Q(**{f"id__{beyond}": ended[0]})
    first, key = ended
    same = Q(**{order.field: first, f"id__{beyond}": key})
    return Q(**{f"{order.field}__{beyond}": first}) | same


def _write(order: Order, row: Model) -> str:
    ended = [getattr(row, name) for name in order.fields]
    text = json.dumps([value.isoformat() if hasattr(value, "isoformat") else str(value) for value in ended])
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def _read(model: type[Model], order: Order, cursor: str) -> list[Any]:
    try:
        text = base64.b64decode(cursor + "=" * (-len(cursor) % 4), altchars=b"-_", validate=True)
        ended = json.loads(text)
        if not isinstance(ended, list) or not all(isinstance(value, str) for value in ended):
            raise ValueError(ended)
        return [
            model._meta.get_field(name).to_python(value)  # type: ignore[union-attr]
            for name, value in zip(order.fields, ended, strict=True)
        ]
    except (ValueError, RecursionError, binascii.Error, ModelError, OverflowError) as error:
        raise ValidationError({"cursor": [_WRONG]}) from error


class Listed:
    """How a list is described: the shape that ``view.listed`` gives it."""

    def get_paginated_response_schema(self, rows: dict[str, Any]) -> dict[str, Any]:
        """For the description alone."""
        following = {
            "type": ["string", "null"],
            "description": "Cursor of the next page; null after the last.",
        }
        return {
            "type": "object",
            "properties": {"items": rows, "next": following},
            "required": ["items", "next"],
        }

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        return []
