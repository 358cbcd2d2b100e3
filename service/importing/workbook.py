"""Workbooks (XLSX), read as a stream and trusted in nothing. Plain: no Django.

A workbook is a zip of XML parts. Before any part is parsed its size, its number and how far it would
swell are held against limits, and a part with a document type is refused (ECMA-376 part 2 forbids
one, and it is how XML makes much of little). Macros and links to other files are not read.
"""

import io
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, time
from typing import Any

from openpyxl import load_workbook

ENTRIES_MAX = 500
SWOLLEN_MAX_BYTES = 120 * 1024 * 1024
TEXTS_MAX_BYTES = 40 * 1024 * 1024
SWELLING_MAX = 200
_SMALL_BYTES = 1024 * 1024
_NEEDED = ("[Content_Types].xml", "xl/workbook.xml")
# Rows without a cell that a sheet may hold before it is taken for endless.
_EMPTY_MAX = 5_000


class NotAWorkbook(ValueError):  # noqa: N818
    """The file is no workbook that can be read safely. The message is for a person."""


@dataclass(frozen=True)
class Formula:
    """A cell with a formula, which is never worked out."""

    text: str

    def strip(self) -> str:
        return self.text


Cell = str | Formula


def is_zip(data: bytes) -> bool:
    return data.startswith((b"PK\x03\x04", b"PK\x05\x06"))


def check_workbook(data: bytes) -> None:
    """Refuse what is no workbook, or would fill the memory. Raises NotAWorkbook."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _check_entries(archive.infolist())
            for entry in archive.infolist():
                if entry.filename.lower().endswith((".xml", ".rels")):
                    _check_part(archive, entry)
    except (zipfile.BadZipFile, EOFError, OSError, NotImplementedError, RuntimeError, ValueError) as wrong:
        if isinstance(wrong, NotAWorkbook):
            raise
        raise NotAWorkbook("The file is damaged: it cannot be opened as a workbook.") from wrong


def _check_entries(entries: list[zipfile.ZipInfo]) -> None:
    names = {entry.filename for entry in entries}
    if not names.issuperset(_NEEDED):
        raise NotAWorkbook("The file is a zip archive, not a workbook (XLSX). Save the list as XLSX or CSV.")
    if len(entries) > ENTRIES_MAX:
        raise NotAWorkbook(f"The workbook holds {len(entries):,} parts; at most {ENTRIES_MAX} are read.")
    if sum(entry.file_size for entry in entries) > SWOLLEN_MAX_BYTES:
        raise NotAWorkbook(
            f"Unpacked, the workbook is larger than {SWOLLEN_MAX_BYTES // 1024**2} MB. Save only the list."
        )
    for entry in entries:
        _check_swelling(entry)


def _check_swelling(entry: zipfile.ZipInfo) -> None:
    if entry.file_size > _SMALL_BYTES and entry.file_size > SWELLING_MAX * max(entry.compress_size, 1):
        raise NotAWorkbook(
            f"A part of the workbook swells to more than {SWELLING_MAX} times its size. Save the list anew."
        )
    if entry.filename == "xl/sharedStrings.xml" and entry.file_size > TEXTS_MAX_BYTES:
        raise NotAWorkbook(f"The workbook holds more than {TEXTS_MAX_BYTES // 1024**2} MB of text.")


def _check_part(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> None:
    """Read a part through once: its true size is what its name says, and it has no document type."""
    with archive.open(entry) as part:
        last = b""
        while block := part.read(256 * 1024):
            # UTF-16 has a NUL beside each of these letters.
            if b"<!DOCTYPE" in (last + block).replace(b"\0", b"").upper():
                raise NotAWorkbook("The workbook has a part with a document type, which none may have.")
            last = block[-32:]


def sheets(data: bytes, *, columns_max: int) -> Iterator[tuple[str, Iterator[tuple[int, list[Cell]]]]]:
    """Title and rows (number, cells) of each sheet. One column more than ``columns_max`` is looked at.

    Raises NotAWorkbook. Call ``check_workbook`` first.
    """
    try:
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_links=False)
        for sheet in book.worksheets:
            sheet.reset_dimensions()
            yield sheet.title, _rows(sheet, columns_max)
        book.close()
    except NotAWorkbook:
        raise
    except Exception as wrong:  # a part of somebody's making may break the reader anywhere
        raise NotAWorkbook("The workbook is damaged: a part of it cannot be read.") from wrong


def _rows(sheet: Any, columns_max: int) -> Iterator[tuple[int, list[Cell]]]:
    empty = 0
    rows = iter(sheet.iter_rows(max_col=columns_max + 1))
    number = 0
    while True:
        try:
            row = next(rows)
        except StopIteration:
            return
        except Exception as wrong:
            raise NotAWorkbook(f"Sheet “{sheet.title}” is damaged after row {number}.") from wrong
        number += 1
        cells = [_cell(cell) for cell in row]
        if any(cell.strip() for cell in cells):
            empty = 0
            yield number, cells
        elif (empty := empty + 1) > _EMPTY_MAX:
            return


def _cell(cell: Any) -> Cell:
    """A cell as text: dates as ISO, whole numbers without a point, a yes or no in words."""
    value = cell.value
    if cell.data_type == "f":
        return Formula(str(value))
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        midnight = value.time() == time.min
        return value.date().isoformat() if midnight else value.isoformat(sep=" ", timespec="minutes")
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value)
