"""A workbook is read only as far as it is safe: sizes, parts and what they swell to have limits in words.

The parts are those of ECMA-376 (Office Open XML); part 2, section 9.1.4 forbids a document type in any.
"""

import io
import zipfile
from datetime import date, datetime

import pytest
from openpyxl import Workbook

from service.importing import tables as tables_module
from service.importing.columns import KINDS
from service.importing.tables import Row, Unreadable, tables_of
from service.importing.workbook import Formula
from tests.importing.listing import workbook


def read(data: bytes, kind: str = "client") -> list[Row]:
    (table,) = tables_of(data, kind=kind, encoding="", delimiter="")
    return list(table.rows())


def with_part(name: str, content: bytes, data: bytes | None = None) -> bytes:
    """A workbook with one part replaced, or added."""
    source = zipfile.ZipFile(io.BytesIO(data or workbook({"Clients": [["name"], ["A"]]})))
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as made:
        for entry in source.infolist():
            if entry.filename != name:
                made.writestr(entry, source.read(entry))
        made.writestr(name, content)
    return file.getvalue()


def test_cells_are_read_as_people_see_them() -> None:
    data = workbook(
        {
            "Clients": [
                ["name", "reference", "notes", "phone", "contact_name"],
                ["A", 1001, datetime(2026, 5, 31, 14, 30), date(2026, 5, 31), 7.25],
            ]
        }
    )

    assert read(data)[0].cells == {
        "name": "A",
        "reference": "1001",
        "notes": "2026-05-31 14:30",
        "phone": "2026-05-31",
        "contact_name": "7.25",
    }


def test_a_formula_is_kept_as_a_formula_and_never_worked_out() -> None:
    data = workbook({"Clients": [["name", "notes"], ["A", '=HYPERLINK("http://x.example","press")']]})

    assert read(data)[0].cells["notes"] == Formula('=HYPERLINK("http://x.example","press")')


def test_a_sheet_is_found_by_its_name_and_otherwise_the_first_is_taken() -> None:
    two = {"Notes": [["x"]], "Clients": [["name"], ["B"]]}

    assert read(workbook(two))[0].cells == {"name": "B"}
    assert read(workbook({"Blatt 1": [["name"], ["A"]]}))[0].cells == {"name": "A"}


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"PK\x03\x04 and no more", "damaged"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1rest", "old form"),
        (b"", "empty"),
        (b"x" * (5 * 1024 * 1024 + 1), "larger than 5 MB"),
        (with_part("xl/worksheets/sheet1.xml", b"<worksheet><sheetData><row>"), "damaged"),
        (with_part("xl/workbook.xml", b"<!DOCTYPE a [<!ENTITY b 'c'>]><workbook/>"), "document type"),
        (with_part("xl/extra.xml", "<!DOCTYPE a><a/>".encode("utf-16")), "document type"),
        (with_part("xl/sharedStrings.xml", b" " * 41 * 1024 * 1024), "swells to more than 200"),
    ],
)
def test_a_file_that_is_no_workbook_or_no_safe_one_is_told_in_words(data: bytes, said: str) -> None:
    with pytest.raises(Unreadable, match=said):
        read(data)


def test_a_zip_that_is_no_workbook_is_called_so() -> None:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("photo.jpg", b"x")

    with pytest.raises(Unreadable, match="a zip archive, not a workbook"):
        read(file.getvalue())


def test_a_workbook_of_too_many_parts_is_refused() -> None:
    data = io.BytesIO(workbook({"Clients": [["name"], ["A"]]}))
    with zipfile.ZipFile(data, "a") as archive:
        for number in range(500):
            archive.writestr(f"xl/{number}.bin", b"")

    with pytest.raises(Unreadable, match="at most 500"):
        read(data.getvalue())


def test_rows_and_columns_have_a_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(Unreadable, match="more than 60 columns"):
        read(workbook({"Clients": [["name", *(f"c{n}" for n in range(60))], ["A"]]}))

    monkeypatch.setattr(tables_module, "ROWS_MAX", 3)
    with pytest.raises(Unreadable, match="more than 3 rows"):
        read(workbook({"Clients": [["name"], *([str(n)] for n in range(4))]}))


def test_a_cell_at_the_far_end_of_a_sheet_costs_nothing() -> None:
    book = Workbook()
    book.active.title = "Clients"
    book.active["A1"], book.active["A2"], book.active["XFD1048576"] = "name", "A", "far away"
    file = io.BytesIO()
    book.save(file)

    assert [row.cells for row in read(file.getvalue())] == [{"name": "A"}]


def test_a_column_that_stands_twice_or_none_at_all_is_told() -> None:
    with pytest.raises(Unreadable, match="name stands twice"):
        read(workbook({"Clients": [["name", "Name"], ["A", "B"]]}))
    with pytest.raises(Unreadable, match="No column of the list of clients"):
        read(workbook({"Clients": [["Firma", "Ort"], ["A", "B"]]}))


def test_the_columns_are_found_whatever_their_case_and_by_their_label() -> None:
    data = workbook({"Spas": [["NAME", "Volume", "Bather limit"], ["Tub", 1250, 6]]})

    assert read(data, "spa")[0].cells == {"name": "Tub", "volume_l": "1250", "bather_capacity": "6"}
    assert KINDS["spa"].column(" Volume ") is KINDS["spa"].column("volume_l")
