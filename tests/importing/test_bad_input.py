"""What people send that is no good list: each kind of list has a clear answer, and nothing is half done.

What begins a formula follows OWASP, "CSV Injection"; the mark at the beginning is that of the Unicode
Standard, 23.8; line ends and quotes are those of RFC 4180.
"""

import io
import zipfile

import pytest

from service.importing.columns import KINDS
from service.importing.models import Effect, ListImport, ListRow, ListState
from service.importing.plan import FORMULA
from service.importing.upload import read_now
from service.runs.work import do_run
from tests.importing.listing import effects, fresh, problems, uploaded, workbook, written
from tests.personas import Firm

EVERY_KIND = [*KINDS, "all"]
SHEET = "xl/worksheets/sheet1.xml"


def good(firm: Firm, kind: str) -> dict[str, str]:
    """A row that is new and has no errors."""
    return {
        "client": {"reference": "C7", "name": "New client"},
        "site": {"reference": "S7", "client": firm.client.name, "name": "New site"},
        "spa": {"reference": "T7", "site": firm.site.name, "name": "New tub", "volume_l": "900"},
        "agreement": {
            "spa": firm.spa.name,
            "frequency": "times_a_week",
            "times_a_week": "2",
            "starts_on": "2026-04-01",
        },
        "reading": {"spa": firm.spa.name, "taken_at": "2025-06-14 10:30", "ph": "7.4"},
    }[kind]


def text_of(*rows: dict[str, str], end: str = "\n") -> str:
    heads = list(rows[0])
    return end.join([",".join(heads), *(",".join(row.get(head, "") for head in heads) for row in rows)]) + end


def brought(firm: Firm, kind: str, content: str | bytes, name: str = "list.csv") -> ListImport:
    """A list of any size brought in, and read as a worker reads a large one."""
    listing = uploaded(firm, kind, content, name)
    if listing.run:
        do_run(listing.run.pk, lambda run: read_now(listing, firm.office, run))
    return fresh(listing)


def said(listing: ListImport) -> str:
    """Why the file is no list."""
    assert listing.state == ListState.UNREADABLE
    assert not ListRow.objects.filter(listing=listing).exists()
    return listing.problem


@pytest.mark.parametrize("kind", KINDS)
def test_the_row_that_is_spoilt_below_is_good(in_firm: Firm, kind: str) -> None:
    assert effects(uploaded(in_firm, kind, text_of(good(in_firm, kind)))) == ["new"]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("formula", ["=1+1", "@SUM(A1)", "+1+1", "-1+1"])
def test_a_formula_in_a_text_table_is_text_or_an_error_at_its_cell_and_never_worked_out(
    in_firm: Firm, kind: str, formula: str
) -> None:
    row = good(in_firm, kind)
    for column in row:
        listing = uploaded(in_firm, kind, text_of(row | {column: formula}))
        shown = ListRow.objects.get(listing=listing)
        told = [problem["typed"] for problem in shown.problems]
        kept = [change["new"] for change in shown.changes if change["column"] == column]
        assert formula in told + kept
        assert "2" not in kept or column == "times_a_week"


@pytest.mark.parametrize("kind", KINDS)
def test_a_formula_in_a_workbook_is_an_error_at_its_cell(in_firm: Firm, kind: str) -> None:
    row = good(in_firm, kind)
    for column in row:
        sheet = workbook({"List": [list(row), [*(row | {column: "=1+1"}).values()]]})
        assert (2, column, FORMULA) in problems(uploaded(in_firm, kind, sheet, "x.xlsx"))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("codec", ["utf-8-sig", "utf-16"])
def test_a_mark_at_the_beginning_is_no_part_of_the_first_column(in_firm: Firm, kind: str, codec: str) -> None:
    listing = uploaded(in_firm, kind, text_of(good(in_firm, kind)).encode(codec))

    assert (effects(listing), listing.left_out, listing.encoding_sure) == (["new"], {}, True)


@pytest.mark.parametrize("kind", KINDS)
def test_mixed_line_ends_make_the_same_rows(in_firm: Firm, kind: str) -> None:
    heads, values, _ = text_of(good(in_firm, kind)).split("\n")

    listing = uploaded(in_firm, kind, f"{heads}\r\n\r{values}\r\n\n\r")

    assert effects(listing) == ["new"]


@pytest.mark.parametrize("kind", KINDS)
def test_a_thing_that_stands_twice_is_an_error_at_both_rows(in_firm: Firm, kind: str) -> None:
    row = good(in_firm, kind)

    listing = uploaded(in_firm, kind, text_of(row, row))

    assert [number for number, _, message in problems(listing) if "stands in row" in message] == [2, 3]
    assert listing.count(Effect.WRONG) == 2


@pytest.mark.parametrize("kind", KINDS)
def test_a_thing_that_stands_twice_below_the_same_key_is_an_error_at_both_rows(
    in_firm: Firm, kind: str
) -> None:
    if "runnel_key" not in {column.name for column in KINDS[kind].columns}:
        return
    written(in_firm, kind, text_of(good(in_firm, kind)))
    key = str(KINDS[kind].model.objects.order_by("pk").last().pk)  # type: ignore[union-attr]

    listing = uploaded(in_firm, kind, f"runnel_key,notes,instructions\n{key},,\n{key},,\n")

    assert [(number, column) for number, column, _ in problems(listing)] == [
        (2, "runnel_key"),
        (3, "runnel_key"),
    ]


@pytest.mark.parametrize("kind", KINDS)
def test_a_million_columns_are_refused_and_a_million_cells_told_at_their_row(
    in_firm: Firm, kind: str
) -> None:
    row = good(in_firm, kind)
    wide = ",".join(row) + ",x" * 1_000_000
    assert said(brought(in_firm, kind, wide + "\n1\n")).startswith("The list has more than 60 columns.")

    listing = brought(in_firm, kind, text_of(row).rstrip("\n") + ",x" * 1_000_000)

    assert (2, "", "The row has more cells than the first line has columns.") in problems(listing)


@pytest.mark.parametrize("kind", KINDS)
def test_a_workbook_as_wide_as_one_can_be_is_refused(in_firm: Firm, kind: str) -> None:
    row = good(in_firm, kind)
    data = workbook({"List": [[*row, *["x"] * (16_384 - len(row))], list(row.values())]})

    assert said(brought(in_firm, kind, data, "x.xlsx")).startswith("The list has more than 60 columns.")


@pytest.mark.parametrize("kind", EVERY_KIND)
def test_a_zip_named_xlsx_is_called_what_it_is(in_firm: Firm, kind: str) -> None:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("holiday.jpg", b"\xff\xd8\xff\xd9")

    assert "a zip archive, not a workbook" in said(brought(in_firm, kind, file.getvalue(), "clients.xlsx"))


@pytest.fixture(scope="module")
def bombs() -> dict[str, bytes]:
    """Small files that would fill the memory: much of nothing, many parts, a text that makes itself."""
    nothing = b" " * 41 * 1024 * 1024
    grows = b"<!DOCTYPE a [<!ENTITY b 'bbbbbbbbbb'><!ENTITY c '&b;&b;&b;&b;&b;'>]><worksheet>&c;</worksheet>"
    # Told swelling is at most 200 times: noise between the blanks keeps it below, and the sum is too large.
    mixed = (bytes(range(256)) * 16 + b" " * 400_000) * 90
    return {
        "swells to more than 200 times": _with_parts({SHEET: nothing}),
        "larger than 120 MB": _with_parts({f"xl/worksheets/sheet{n}.xml": mixed for n in range(1, 5)}),
        "document type": _with_parts({SHEET: grows}),
        "at most 500 are read": _with_parts({f"xl/media/{n}.png": b"" for n in range(600)}),
    }


def _with_parts(parts: dict[str, bytes]) -> bytes:
    source = zipfile.ZipFile(io.BytesIO(workbook({"Clients": [["name"], ["A"]]})))
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as made:
        for entry in source.infolist():
            if entry.filename not in parts:
                made.writestr(entry, source.read(entry))
        for name, content in parts.items():
            made.writestr(name, content)
    return file.getvalue()


@pytest.mark.parametrize("kind", EVERY_KIND)
@pytest.mark.parametrize(
    "words", ["swells to more than 200 times", "larger than 120 MB", "document type", "at most 500 are read"]
)
def test_a_zip_bomb_is_refused_before_it_is_unpacked(
    in_firm: Firm, bombs: dict[str, bytes], kind: str, words: str
) -> None:
    assert len(bombs[words]) < 5 * 1024 * 1024

    assert words in said(brought(in_firm, kind, bombs[words], "clients.xlsx"))


@pytest.mark.parametrize("kind", EVERY_KIND)
@pytest.mark.parametrize(
    "data", [b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", b"<html><p>x"]
)
def test_a_file_that_is_no_table_is_told_in_words(in_firm: Firm, kind: str, data: bytes) -> None:
    assert said(brought(in_firm, kind, data, "clients.csv")).endswith((".", "below."))


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_of_a_list_with_errors_is_there_before_it_is_confirmed(in_firm: Firm, kind: str) -> None:
    model = KINDS[kind].model
    before = model.objects.count() if model else 0

    listing = brought(in_firm, kind, text_of(good(in_firm, kind), {}))

    assert listing.state in (ListState.READY, ListState.UNREADABLE)
    assert (model.objects.count() if model else 0) == before
