"""What each row of a list would do: new, changed, the same, or wrong and why. Writes nothing."""

from collections import defaultdict
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field
from itertools import islice
from typing import Any
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError

from accounts.models import Person
from service.importing.columns import KEY, KINDS
from service.importing.kind import Column, Kind, as_text
from service.importing.known import Entry, Known, NotFound
from service.importing.models import Effect
from service.importing.tables import BEYOND, Row, Table
from service.importing.workbook import Cell, Formula

FORMULA = "This cell holds a formula, which is not worked out here. Put its value."
TOO_MANY = "The row has more cells than the first line has columns."
SHOWN_CHARS = 120
_REFERENCE = "reference"


@dataclass
class Planned:
    """One row and what it would do; see ``models.ListRow`` for the shapes."""

    kind: Kind
    number: int
    name: str
    effect: Effect = Effect.SAME
    problems: list[dict[str, str]] = field(default_factory=list)
    changes: list[dict[str, str]] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    object_id: UUID | None = None
    payload: dict[str, Any] = field(default_factory=dict)

    def told(self, column: str) -> bool:
        """Whether something is said at this cell already."""
        return any(problem["column"] == column for problem in self.problems)

    def wrong(self, column: str, typed: Cell | str, message: str, *, sealed: bool = False) -> None:
        shown = "" if sealed else (typed if isinstance(typed, str) else typed.text)[:SHOWN_CHARS]
        self.problems.append({"column": column, "typed": shown, "message": message})


Twice = Mapping[int, tuple[str, str]]


def twice_in(table: Table) -> tuple[int, Twice]:
    """How many rows the table has, and for each that is there twice: at which column, and why.

    Two rows with one reference are both wrong: nobody can say which is meant. Raises Unreadable.
    """
    seen: dict[tuple[str, ...], list[int]] = defaultdict(list)
    count = 0
    for row in table.rows():
        count += 1
        for about in _about(table.kind, row):
            seen[about].append(row.number)
    return count, {
        number: (about[0], f"The same {_called(table.kind, about)} stands in {_rows(numbers, number)} too.")
        for about, numbers in seen.items()
        if len(numbers) > 1
        for number in numbers
    }


def _about(kind: Kind, row: Row) -> Iterator[tuple[str, ...]]:
    """What the row is about: column, then what stands there."""
    cells = {name: cell.strip() for name, cell in row.cells.items()}
    known = [name for name in (KEY, _REFERENCE) if cells.get(name)]
    for name in known:
        yield name, cells[name]
    if not known and cells.get(kind.apart_at):
        yield kind.apart_at, *(cells.get(name, "").casefold() for name in kind.apart)


def _called(kind: Kind, about: tuple[str, ...]) -> str:
    return {_REFERENCE: f"reference “{about[-1]}”", KEY: "key"}.get(about[0], kind.apart_words)


def _rows(numbers: Sequence[int], own: int) -> str:
    others = [str(number) for number in islice((number for number in numbers if number != own), 3)]
    more = f" and {len(numbers) - 4} more" if len(numbers) > 4 else ""
    return f"row {others[0]}" if len(others) == 1 else f"rows {', '.join(others)}{more}"


@dataclass
class Planner:
    """Plans the rows of one list, in order: what a row adds can be named by the rows after it.

    Keeps a short entry of each thing of the firm and of the list; never the rows.
    """

    known: Known
    by: Person
    taken: dict[UUID, int] = field(default_factory=dict)

    def plan(self, table: Table, rows: Sequence[Row], twice: Twice) -> list[Planned]:
        """The effects of some rows. One query for what they match."""
        model: Any = table.kind.model
        found = [self._placed(table.kind, row, twice) for row in rows]
        stored = model.objects.in_bulk([one.object_id for one in found if one.object_id])
        for one, row in zip(found, rows, strict=True):
            self._finish(table, one, row, stored.get(one.object_id))
        return found

    def _placed(self, kind: Kind, row: Row, twice: Twice) -> Planned:
        """The row with its parent and the thing that it is about, as far as they can be found.

        Rows of one call may name each other, so a new thing is put on the shelf at once.
        """
        one = start(kind, row, twice)
        try:
            one.payload["parent"] = parent = self._parent(kind, row, one)
            one.object_id = self._match(kind, row, parent, one)
        except NotFound as missing:
            one.wrong(missing.column, row.cells.get(missing.column, ""), str(missing))
            one.payload["lost"] = True
            return one
        if one.object_id is None:
            one.object_id = one.payload["new"] = uuid4()
            name, reference = (text_of(row, cell) for cell in ("name", _REFERENCE))
            self.known.shelves[kind.key].put(Entry(one.object_id, name, reference, parent))
            self.taken[one.object_id] = one.number
        return one

    def _parent(self, kind: Kind, row: Row, one: Planned) -> UUID | None:
        if not kind.above:
            return None
        above, own = KINDS[kind.above], self._keyed(kind, row)
        if own and own.parent and names_as_well(self.known, above, row, own.parent):
            return own.parent
        parent, remark = self.known.meant(above, row.cells)
        if remark:
            one.remarks.append(remark)
        return parent

    def _keyed(self, kind: Kind, row: Row) -> Entry | None:
        key = key_of(row)
        return self.known.shelves[kind.key].entries.get(key) if key else None

    def _match(self, kind: Kind, row: Row, parent: UUID | None, one: Planned) -> UUID | None:
        """The key of the thing that the row is about; None for a new one. Raises NotFound."""
        shelf = self.known.shelves[kind.key]
        if typed := text_of(row, KEY):
            if own := self._keyed(kind, row):
                return own.key
            raise no_such_key(kind, typed)
        reference = text_of(row, _REFERENCE)
        if reference in shelf.by_reference:
            return shelf.by_reference[reference]
        same = shelf.named(text_of(row, "name"), parent)
        if reference:
            same = [entry for entry in same if not entry.reference]
        if len(same) > 1:
            raise NotFound(
                "name", f"{len(same)} {kind.one}s are called “{same[0].name}”: give the reference."
            )
        if same:
            one.remarks.append(f"{kind.one.capitalize()} found by its name.")
        return same[0].key if same else None

    def _finish(self, table: Table, one: Planned, row: Row, stored: Any) -> None:
        values = read_cells(table.columns, row, one)
        if stored is not None:
            self._changed(table, one, values, stored)
        else:
            self._new(table, one, values)
        if one.problems:
            self._is_wrong(table.kind, one, row)

    def _new(self, table: Table, one: Planned, values: dict[str, Any]) -> None:
        kind, one.effect = table.kind, Effect.NEW
        if one.payload.pop("lost", False):
            return
        if one.payload.pop("new", None) is None and not one.problems:
            other = self.taken.get(one.object_id or uuid4(), 0)
            one.wrong("name", one.name, f"Row {other} of this list adds the same {kind.one}.")
        parent = one.payload["parent"]
        if kind.above and (why := self.known.why_not_in_use(KINDS[kind.above], parent)):
            one.wrong(kind.above, "", why)
        given = {name: value for name, value in values.items() if value not in ("", None, [])}
        one.payload["values"] = given
        one.changes = [_change(table, name, "", value) for name, value in given.items()]
        ask_for_missing(kind, values, one)
        model: Any = kind.model
        check_whole(model(organisation=self.by.organisation), given, one)

    def _is_wrong(self, kind: Kind, one: Planned, row: Row) -> None:
        shelf = self.known.shelves[kind.key]
        if one.effect == Effect.NEW and self.taken.get(one.object_id or uuid4()) == one.number:
            shelf.take_off(one.object_id)
        if reference := text_of(row, _REFERENCE):
            shelf.wrong.add(reference)
        one.effect, one.payload, one.changes = Effect.WRONG, {}, []

    def _changed(self, table: Table, one: Planned, values: dict[str, Any], stored: Any) -> None:
        kind, parent = table.kind, one.payload.get("parent")
        one.name = one.name or str(stored)[:200]
        first = self.taken.setdefault(stored.pk, one.number)
        if first != one.number and not one.problems:
            one.wrong("name", one.name, f"Row {first} is about the same {kind.one}.")
        if why := self.known.why_not_in_use(kind, stored.pk):
            one.wrong("name", one.name, why)
        if parent and parent != getattr(stored, f"{kind.above}_id"):
            one.wrong(kind.above, "", f"It belongs to another {kind.above}. A list does not move it.")
        was = {name: getattr(stored, name) for name in values}
        differing = {name: value for name, value in values.items() if as_text(value) != as_text(was[name])}
        self._refuse_taken(kind, one, differing, stored.pk)
        one.effect = Effect.CHANGED if differing else Effect.SAME
        one.payload = {"values": differing, "was": {name: was[name] for name in differing}}
        one.changes = [_change(table, name, was[name], value) for name, value in differing.items()]
        if differing:
            check_whole(copy(stored), differing, one)

    def _refuse_taken(self, kind: Kind, one: Planned, values: Mapping[str, Any], own: UUID) -> None:
        shelf = self.known.shelves[kind.key]
        other = shelf.by_reference.get(values.get(_REFERENCE, ""))
        if other and other != own:
            name = shelf.entries[other].name
            one.wrong(_REFERENCE, values[_REFERENCE], f"Already taken by another {kind.one}, {name}.")
        elif values.get(_REFERENCE):
            shelf.by_reference[values[_REFERENCE]] = own


def start(kind: Kind, row: Row, twice: Twice) -> Planned:
    """A row with what can be said of it without the firm's data."""
    named = text_of(row, "name") or text_of(row, "spa_reference") or text_of(row, "spa")
    one = Planned(kind, row.number, named[:200])
    if found := twice.get(row.number):
        one.wrong(found[0], row.cells.get(found[0], ""), found[1])
    if BEYOND in row.cells:
        one.wrong(BEYOND, row.cells[BEYOND], TOO_MANY)
    for name, cell in row.cells.items():
        if isinstance(cell, Formula):
            column = kind.column(name)
            one.wrong(name, cell, FORMULA, sealed=bool(column and column.sealed))
    return one


def text_of(row: Row, column: str) -> str:
    """A cell's text; "" where there is none, or a formula."""
    cell = row.cells.get(column, "")
    return cell.strip() if isinstance(cell, str) else ""


def no_such_key(kind: Kind, typed: str) -> NotFound:
    return NotFound(KEY, f"No {kind.one} has the key “{typed[:40]}”. Leave it empty for a new one.")


def names_as_well(known: Known, above: Kind, row: Row, parent: UUID) -> bool:
    """Whether a row with a key names, as well as names can, the parent that it has, or none."""
    entry = known.shelves[above.key].entries.get(parent)
    reference, name = text_of(row, f"{above.key}_reference"), text_of(row, above.key)
    if entry is None or not (reference or name):
        return True
    return reference == entry.reference if reference else name == entry.name


def read_cells(columns: Iterable[Column], row: Row, one: Planned) -> dict[str, Any]:
    """Field -> value of the cells that can be read; the others are told at the row.

    An empty cell empties a field that may be empty. It leaves alone a reference, what is sealed, and
    what cannot be empty.
    """
    values = {}
    for column in columns:
        cell = row.cells.get(column.name, "")
        if column.input is None or isinstance(cell, Formula):
            continue
        if not cell.strip() and (column.input.required or column.sealed or column.name == _REFERENCE):
            continue
        try:
            values[column.name] = column.read(cell)
        except ValidationError as wrong:
            one.wrong(column.name, cell, " ".join(wrong.messages), sealed=column.sealed)
    return values


def ask_for_missing(kind: Kind, values: Container[str], one: Planned) -> None:
    """Tell of columns that a new row needs and that it lacks."""
    for column in kind.columns:
        if column.wanted and column.name not in values and not one.told(column.name):
            one.wrong(column.name, "", _missing(column))


def check_whole(row: Any, values: Mapping[str, Any], one: Planned) -> None:
    """What the model asks beyond the single cells, such as both halves of a position."""
    for name, value in values.items():
        setattr(row, name, value)
    others = {item.name for item in row._meta.fields} - values.keys()
    for check in (lambda: row.clean_fields(exclude=others), row.clean):
        try:
            check()
        except ValidationError as wrong:
            for name, messages in wrong.message_dict.items():
                if not one.told(name):
                    one.wrong(name, "", " ".join(messages))


def _missing(column: Column) -> str:
    message = column.input.error_messages["required"] if column.input else ""
    return str(message) if column.limits.startswith("from") else f"A new row needs its {column.name}."


def _change(table: Table, name: str, old: Any, new: Any) -> dict[str, str]:
    column = table.kind.by_head[name]
    if column.sealed:
        return {"column": name, "old": "sealed" if old else "", "new": "another, sealed" if new else ""}
    unit = f" {column.unit}" if column.unit else ""
    old_text, new_text = (as_text(value)[:SHOWN_CHARS] for value in (old, new))
    return {
        "column": name,
        "old": f"{old_text}{unit}" if old_text else "",
        "new": f"{new_text}{unit}" if new_text else "",
    }


def key_of(row: Row) -> UUID | None:
    """The key of the thing that the row says it is about; None where there is none, or no key."""
    try:
        return UUID(text_of(row, KEY))
    except ValueError:
        return None
