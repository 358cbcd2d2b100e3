"""What the firm has already, and what the list adds: by key, by reference, by name within its parent."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from uuid import UUID

from accounts.models import Person
from service.importing.columns import KINDS
from service.importing.kind import Kind
from service.importing.workbook import Cell
from service.sites.visible import visible_clients, visible_sites, visible_spas

_SEEN_BY = {"client": visible_clients, "site": visible_sites, "spa": visible_spas}


@dataclass(frozen=True)
class Entry:
    """One client, site or spa, as far as it is needed to find it."""

    key: UUID
    name: str
    reference: str
    parent: UUID | None
    archived: bool = False


@dataclass
class Shelf:
    """All of one kind."""

    entries: dict[UUID, Entry] = field(default_factory=dict)
    by_reference: dict[str, UUID] = field(default_factory=dict)
    by_name: dict[str, list[UUID]] = field(default_factory=lambda: defaultdict(list))
    # References of rows of the list that have errors.
    wrong: set[str] = field(default_factory=set)

    def put(self, entry: Entry) -> None:
        self.entries[entry.key] = entry
        self.by_name[entry.name.casefold()].append(entry.key)
        if entry.reference:
            self.by_reference[entry.reference] = entry.key

    def take_off(self, key: UUID | None) -> None:
        """Forget a row that turned out wrong."""
        if key is None or (entry := self.entries.pop(key, None)) is None:
            return
        self.by_name[entry.name.casefold()].remove(key)
        if self.by_reference.get(entry.reference) == key:
            del self.by_reference[entry.reference]

    def named(self, name: str, parent: UUID | None = None) -> list[Entry]:
        """Those of that name, under ``parent`` where one is given."""
        found = (self.entries[key] for key in self.by_name.get(name.casefold(), ()))
        return [entry for entry in found if parent is None or entry.parent == parent]


class NotFound(ValueError):  # noqa: N818
    """No such thing, or several. ``column`` is where to say it."""

    def __init__(self, column: str, message: str) -> None:
        super().__init__(message)
        self.column = column


@dataclass
class Known:
    """The firm's clients, sites and spas; three queries, a few hundred bytes each."""

    shelves: Mapping[str, Shelf]

    @classmethod
    def of(cls, person: Person) -> "Known":
        return cls({key: _shelf(key, person) for key in _SEEN_BY})

    def why_not_in_use(self, kind: Kind, key: UUID | None) -> str:
        """The archived thing at or above ``key``, as a sentence; "" when there is none."""
        while key:
            entry = self.shelves[kind.key].entries[key]
            if entry.archived:
                return f"The {kind.one} {entry.name} is archived. Bring it back into use first."
            if not kind.above:
                return ""
            kind, key = KINDS[kind.above], entry.parent
        return ""

    def meant(self, kind: Kind, cells: Mapping[str, Cell]) -> tuple[UUID, str]:
        """The thing of ``kind`` that a row below it names, and a remark. Raises NotFound."""
        column = f"{kind.key}_reference"
        if reference := _text(cells, column):
            return self._by_reference(kind, reference, column), ""
        name = _text(cells, kind.key)
        if not name:
            raise NotFound(
                column if column in cells else kind.key, f"Say which {kind.one}: its reference, or its name."
            )
        return self._by_name(kind, name, cells), f"{kind.one.capitalize()} found by its name."

    def _by_reference(self, kind: Kind, reference: str, column: str) -> UUID:
        shelf = self.shelves[kind.key]
        if found := shelf.by_reference.get(reference):
            return found
        if reference in shelf.wrong:
            raise NotFound(column, f"The row of {kind.one} “{reference}” in this list has errors.")
        raise NotFound(column, f"No {kind.one} has the reference “{reference}”.")

    def _by_name(self, kind: Kind, name: str, cells: Mapping[str, Cell]) -> UUID:
        parent = None
        if kind.above and self._names_one_above(KINDS[kind.above], cells):
            parent, _ = self.meant(KINDS[kind.above], cells)
        found = self.shelves[kind.key].named(name, parent)
        if not found:
            raise NotFound(kind.key, f"No {kind.one} is called “{name}”.")
        if len(found) > 1:
            raise NotFound(kind.key, f"{len(found)} {kind.one}s are called “{name}”: give the reference.")
        return found[0].key

    @staticmethod
    def _names_one_above(kind: Kind, cells: Mapping[str, Cell]) -> bool:
        return bool(_text(cells, f"{kind.key}_reference") or _text(cells, kind.key))


def _text(cells: Mapping[str, Cell], column: str) -> str:
    cell = cells.get(column, "")
    return cell.strip() if isinstance(cell, str) else ""


def _shelf(key: str, person: Person) -> Shelf:
    shelf, above = Shelf(), KINDS[key].above
    columns = ["pk", "name", "reference", "archived_at", *([f"{above}_id"] if above else [])]
    for pk, name, reference, archived_at, *parent in _SEEN_BY[key](person).values_list(*columns).iterator():
        shelf.put(Entry(pk, name, reference, parent[0] if parent else None, archived_at is not None))
    return shelf
