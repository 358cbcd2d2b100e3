"""The tables of a file: a text table is one, a workbook may hold one for each kind.

Whatever the bytes are, the answer is tables or ``Unreadable`` with words.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice

from service.importing.columns import ALL, COLUMNS_MAX, FILE_MAX_BYTES, KINDS, ROWS_MAX
from service.importing.delimited import DELIMITERS, Malformed, heads, records, unescaped
from service.importing.encoding import Undecodable, decode
from service.importing.kind import Column, Kind, normal
from service.importing.workbook import Cell, Formula, NotAWorkbook, check_workbook, is_zip, sheets

# Under this name a row keeps what stands right of the last column.
BEYOND = ""
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


class Unreadable(ValueError):  # noqa: N818
    """The file cannot be read as a list. The message is for a person."""


@dataclass(frozen=True)
class Row:
    """One row: its number as a spreadsheet or editor shows it, and its cells by column."""

    number: int
    cells: dict[str, Cell]


@dataclass(frozen=True)
class Table:
    """One table: its kind, the columns found, those left out, and its rows, anew at each call."""

    kind: Kind
    columns: tuple[Column, ...]
    left_out: tuple[str, ...]
    rows: Callable[[], Iterator[Row]]


Records = Iterator[tuple[int, list[Cell]]]


def tables_of(data: bytes, *, kind: str, encoding: str, delimiter: str) -> list[Table]:
    """The tables of a file, in the order in which they are written: clients before their sites.

    kind                 Key of a kind, or ``ALL`` for a workbook with a sheet for each.
    encoding, delimiter  For text; unused for a workbook.

    Raises Unreadable.
    """
    refuse_size(len(data))
    if is_zip(data):
        return _of_workbook(data, kind)
    if data.startswith(_OLD_WORKBOOK):
        raise Unreadable("This is a workbook of the old form (XLS). Save it as XLSX or CSV.")
    if kind == ALL:
        raise Unreadable("Only a workbook (XLSX) can hold a sheet for each kind. Choose what this list is.")
    return [_of_text(data, KINDS[kind], encoding, delimiter)]


def refuse_size(size: int) -> None:
    """Raises Unreadable for an empty file or one that is too large."""
    if not size:
        raise Unreadable("The file is empty.")
    if size > FILE_MAX_BYTES:
        raise Unreadable(f"The file is larger than {FILE_MAX_BYTES // 1024**2} MB. Split the list.")


def _of_text(data: bytes, kind: Kind, encoding: str, delimiter: str) -> Table:
    try:
        text = decode(data, encoding)
    except Undecodable as wrong:
        raise Unreadable(str(wrong)) from wrong

    def read() -> Records:
        try:
            yield from records(text, delimiter)  # type: ignore[misc]
        except Malformed as wrong:
            raise Unreadable(str(wrong)) from wrong

    return _table(kind, read)


def _of_workbook(data: bytes, kind: str) -> list[Table]:
    try:
        check_workbook(data)
        titles = [title for title, _ in sheets(data, columns_max=COLUMNS_MAX)]
    except NotAWorkbook as wrong:
        raise Unreadable(str(wrong)) from wrong
    if not titles:
        raise Unreadable("The workbook has no sheet.")
    by_kind = {found.key: title for title in reversed(titles) if (found := _kind_of(title))}
    if kind != ALL:
        return [_of_sheet(data, KINDS[kind], by_kind.get(kind, titles[0]))]
    if not by_kind:
        named = ", ".join(one.title for one in KINDS.values())
        raise Unreadable(f"No sheet is called one of: {named}. Choose what the list holds instead.")
    held = [_of_sheet(data, one, by_kind[key]) for key, one in KINDS.items() if key in by_kind]
    return [table for table in held if table.columns]


def _kind_of(title: str) -> Kind | None:
    called = normal(title)
    return next(
        (kind for kind in KINDS.values() if called in (kind.key, f"{kind.key}s", normal(kind.title))), None
    )


def _of_sheet(data: bytes, kind: Kind, title: str) -> Table:
    def read() -> Records:
        try:
            for called, rows in sheets(data, columns_max=COLUMNS_MAX):
                if called == title:
                    yield from rows
                    return
        except NotAWorkbook as wrong:
            raise Unreadable(str(wrong)) from wrong

    return _table(kind, read)


def _table(kind: Kind, read: Callable[[], Records]) -> Table:
    first = next(read(), None)
    if first is None:
        raise Unreadable("The list has no first line with the names of its columns.")
    names = [cell if isinstance(cell, str) else cell.text for cell in first[1]]
    columns = _columns(kind, names)

    def rows() -> Iterator[Row]:
        for seen, (number, cells) in enumerate(islice(read(), 1, None), start=1):
            if seen > ROWS_MAX:
                raise Unreadable(f"The list has more than {ROWS_MAX:,} rows. Split it.")
            yield Row(number, _by_column(columns, cells))

    known = tuple(column for column in columns if column)
    left_out = [name for name, column in zip(names, columns, strict=True) if not column and name.strip()]
    return Table(kind, known, tuple(name.strip()[:60] for name in left_out), rows)


def _columns(kind: Kind, names: list[str]) -> list[Column | None]:
    while names and not names[-1].strip():
        names.pop()
    if len(names) > COLUMNS_MAX:
        raise Unreadable(f"The list has more than {COLUMNS_MAX} columns. Take out those it does not need.")
    columns = [kind.column(name) for name in names]
    found = [column.name for column in columns if column]
    if not found:
        seen = ", ".join(name.strip()[:30] for name in names[:6])
        raise Unreadable(
            f"No column of the list of {kind.title.lower()} was found in its first line: {seen}. "
            "The first line must name the columns as the page of columns does."
        )
    if twice := sorted({name for name in found if found.count(name) > 1}):
        raise Unreadable(f"The column {twice[0]} stands twice in the first line.")
    return columns


def _by_column(columns: list[Column | None], cells: list[Cell]) -> dict[str, Cell]:
    row: dict[str, Cell] = {
        column.name: cell if isinstance(cell, Formula) else unescaped(cell)
        for column, cell in zip(columns, cells, strict=False)
        if column
    }
    beyond = [cell for cell in cells[len(columns) :] if cell.strip()]
    if beyond:
        row[BEYOND] = beyond[0]
    return row


def guess_delimiter(text: str, kind: Kind) -> tuple[str, bool]:
    """The delimiter that makes most of the first line known columns, and whether no other comes close."""
    known = {
        delimiter: sum(kind.column(name) is not None for name in names)
        for delimiter, names in heads(text).items()
    }
    if not known or not max(known.values()):
        line = text.lstrip().splitlines()[0] if text.strip() else ""
        most = max(DELIMITERS, key=line.count)
        return most, False
    best = max(known, key=known.__getitem__)
    return best, known[best] > 1 or len(heads(text)[best]) == 1
