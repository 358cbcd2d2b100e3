"""What the forms of a visit's page offer to choose from, in one query."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import DateField, F, Model, QuerySet, UUIDField, Value
from django.db.models.functions import Cast

from accounts.models import Person
from service.stock.models import Batch, Instrument, Product

# Typed, since PostgreSQL takes a bare NULL for a text when the part before it falls away as empty.
_NO_DAY, _NO_KEY = Cast(Value(None), DateField()), Cast(Value(None), UUIDField())


@dataclass
class Offered:
    """Rows with what a list of choices shows of them; anything else of them is read when asked for.

    batches  By the key of their product.
    """

    instruments: list[Instrument] = field(default_factory=list)
    products: list[Product] = field(default_factory=list)
    people: list[Person] = field(default_factory=list)
    batches: dict[UUID, list[Batch]] = field(default_factory=dict)


def offered(people: QuerySet[Person], products_of_steps: Iterable[UUID]) -> Offered:
    """The firm's instruments and products in use, the batches of some products, and some people.

    In the order that each list has by itself.
    """
    batches = Batch.objects.filter(product__in=set(products_of_steps), archived_at=None)
    every = _part("batch", batches, "code", until=F("expires_on"), of=F("product")).union(
        _part("instrument", Instrument.objects.filter(archived_at=None), "name"),
        _part("product", Product.objects.filter(archived_at=None), "name"),
        _part("person", people, "name"),
        all=True,
    )
    found = Offered()
    for kind, key, label, until, of in every.order_by("until", "label", "key"):
        _take(found, kind, key, label, until, of)
    return found


def _part(kind: str, rows: QuerySet[Any], label: str, **more: Any) -> Any:
    columns = {"kind": Value(kind), "key": F("pk"), "label": F(label), "until": _NO_DAY, "of": _NO_KEY}
    return rows.order_by().annotate(**(columns | more)).values_list(*columns)


def _take(found: Offered, kind: str, key: UUID, label: str, until: date | None, of: UUID) -> None:
    if kind == "batch":
        batch = _row(Batch, {"id": key, "code": label, "expires_on": until, "product_id": of})
        found.batches.setdefault(of, []).append(batch)
    elif kind == "instrument":
        found.instruments.append(_row(Instrument, {"id": key, "name": label}))
    elif kind == "product":
        found.products.append(_row(Product, {"id": key, "name": label}))
    else:
        found.people.append(_row(Person, {"id": key, "name": label}))


def _row(model: type[Model], known: Mapping[str, Any]) -> Any:
    """A row of which only these columns are loaded, as ``QuerySet.only`` gives it."""
    names = [column.attname for column in model._meta.concrete_fields if column.attname in known]
    return model.from_db(None, names, [known[name] for name in names])
