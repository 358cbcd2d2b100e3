"""Long lists in pages: words to search, filters and order, all kept in the address."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from django import forms
from django.core.paginator import Page, Paginator
from django.db.models import F, Model, Q, QuerySet
from django.http import QueryDict
from django.utils.functional import cached_property

Row = TypeVar("Row", bound=Model)
ROWS_PER_PAGE = 50
MOST_WORDS = 8
# A list that grows with the years is counted and turned through up to here. Own choice, no source:
# further back, a person narrows the days.
MOST_LISTED = 10_000
# The databases differ on where nothing sorts; what is in use stands before what is archived.
IN_USE_FIRST = F("archived_at").asc(nulls_first=True)


@dataclass(frozen=True)
class Column:
    """One column of a list.

    order_by  Fields that sort by it; empty: the list cannot be sorted by it.
    figure    A number, set to the right.
    """

    key: str
    name: str
    order_by: tuple[str, ...] = ()
    figure: bool = False


@dataclass(frozen=True)
class Head:
    """A column's head as drawn: what a press sorts by next, and how the list is sorted now."""

    column: Column
    sorted: str
    next: str


@dataclass(frozen=True)
class Listing(Generic[Row]):
    """One page of a list, ready to draw.

    filtered  Whether words or filters narrow it.
    is_cut    Whether more rows fit than can be turned through.
    """

    page: Page[Row]
    heads: list[Head]
    form: forms.Form
    filtered: bool
    is_cut: bool = False


class CountedPages(Paginator):  # type: ignore[type-arg]
    """Pages of rows of which only the first ``number`` are turned through, counted already."""

    def __init__(self, rows: QuerySet[Any, Any], per_page: int, number: int) -> None:
        super().__init__(rows, per_page)
        self._number = number

    @cached_property
    def count(self) -> int:
        return self._number


@dataclass(frozen=True)
class Filters:
    """How a list is narrowed.

    form      The form class that reads the address: ``q`` holds words, ``state`` one of STATES.
    words     Fields that the words are looked for in.
    equal     Field of the form -> lookup that must equal its value.
    archived  Time stamps of which any takes a row out of use: its own and those above it.
    """

    form: type[forms.Form]
    words: tuple[str, ...]
    equal: Mapping[str, str]
    archived: tuple[str, ...]


STATES = (("", "In use"), ("archived", "Archived"), ("all", "All"))


def words_field() -> forms.CharField:
    return forms.CharField(label="Words", max_length=100, required=False)


def state_field() -> forms.ChoiceField:
    return forms.ChoiceField(label="State", choices=STATES, required=False)


def listing(
    rows: QuerySet[Row], *, given: QueryDict, filters: Filters, columns: Sequence[Column]
) -> Listing[Row]:
    """The page of ``rows`` that the address ``given`` asks for.

    Values that cannot be read narrow nothing and are told at their field; a page that does not
    exist becomes the nearest one; an unknown order is the first column's.
    """
    form = filters.form(given)
    form.is_valid()
    asked = {name: value for name, value in form.cleaned_data.items() if value}
    narrowed = _narrowed(rows, asked, filters)
    sort = known_sort(given.get("sort", ""), columns)
    page = Paginator(narrowed.order_by(*order_of(sort, columns)), ROWS_PER_PAGE).get_page(given.get("page"))
    return Listing(page, heads_of(sort, columns), form, filtered=bool(asked))


def found_by(rows: QuerySet[Row], *, given: QueryDict, filters: Filters) -> QuerySet[Row]:
    """Every row, on all pages, that the words and filters of the address ``given`` leave."""
    form = filters.form(given)
    form.is_valid()
    return _narrowed(rows, {name: value for name, value in form.cleaned_data.items() if value}, filters)


def _narrowed(rows: QuerySet[Row], asked: Mapping[str, Any], filters: Filters) -> QuerySet[Row]:
    equal = {lookup: asked[name] for name, lookup in filters.equal.items() if name in asked}
    return rows.filter(
        containing(asked.get("q", ""), filters.words),
        in_state(asked.get("state", ""), filters.archived),
        **equal,
    )


def in_state(state: str, archived: Sequence[str]) -> Q:
    """Rows in use (""), "archived" or "all", told by the time stamps ``archived``."""
    if state == "all":
        return Q()
    used = Q(**{f"{name}__isnull": True for name in archived})
    return ~used if state == "archived" else used


def containing(words: str, fields: Sequence[str]) -> Q:
    """Rows in which each word stands in at least one of the fields, whatever its case."""
    condition = Q()
    for word in words.split()[:MOST_WORDS]:
        condition &= Q.create([Q(**{f"{name}__icontains": word}) for name in fields], connector=Q.OR)
    return condition


def known_sort(asked: str, columns: Sequence[Column], otherwise: str = "") -> str:
    """The key of a column that sorts, with - before it for descending; ``otherwise`` for any other word.

    otherwise  Empty: the first column's key.
    """
    sortable = {column.key for column in columns if column.order_by}
    return asked if asked.removeprefix("-") in sortable else otherwise or columns[0].key


def order_of(sort: str, columns: Sequence[Column]) -> list[str]:
    """The fields that the rows are ordered by; the key last, so that the order is the same every time."""
    column = next(column for column in columns if column.key == sort.removeprefix("-"))
    if not sort.startswith("-"):
        return [*column.order_by, "id"]
    return [*(name[1:] if name.startswith("-") else f"-{name}" for name in column.order_by), "id"]


def heads_of(sort: str, columns: Sequence[Column]) -> list[Head]:
    """Each column's head; ``sort`` as ``known_sort`` gives it."""
    heads = []
    for column in columns:
        state = {column.key: "ascending", f"-{column.key}": "descending"}.get(sort, "")
        following = f"-{column.key}" if state == "ascending" else column.key
        heads.append(Head(column, state, following if column.order_by else ""))
    return heads
