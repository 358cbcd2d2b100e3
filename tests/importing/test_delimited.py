"""Text tables are those of RFC 4180, section 2; what begins like a formula follows OWASP, "CSV Injection"."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.importing.columns import KINDS
from service.importing.delimited import Malformed, escaped, records, unescaped
from service.importing.tables import guess_delimiter


def cells(text: str, delimiter: str = ",") -> list[list[str]]:
    return [record for _, record in records(text, delimiter)]


@pytest.mark.parametrize(
    ("section", "text", "expected"),
    [
        ("2.1", "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("2.2", "aaa,bbb,ccc\r\nzzz,yyy,xxx", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("2.4", "aaa, bbb ,ccc", [["aaa", " bbb ", "ccc"]]),
        ("2.5", '"aaa","bbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("2.6", '"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("2.7", '"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
    ],
)
def test_the_examples_of_rfc_4180_section_2_are_read(
    section: str, text: str, expected: list[list[str]]
) -> None:
    assert cells(text) == expected


@pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
def test_every_line_end_is_taken_and_they_may_be_mixed(end: str) -> None:
    assert cells(f"a,b{end}c,d\n1,2\r\n3,4\r5,6") == [
        ["a", "b"],
        ["c", "d"],
        ["1", "2"],
        ["3", "4"],
        ["5", "6"],
    ]


def test_rows_are_counted_as_a_spreadsheet_counts_them() -> None:
    assert list(records('a\r\n\r\n"b\r\nb"\r\nc', ",")) == [(1, ["a"]), (3, ["b\r\nb"]), (4, ["c"])]


@pytest.mark.parametrize(
    ("text", "said"),
    [('"a" b,c', "Line 1: a cell in quotes"), ('a\n"b,c', "never closed"), (f'"{"x" * 50_000}"', "40,000")],
)
def test_what_is_no_table_is_told_in_words(text: str, said: str) -> None:
    with pytest.raises(Malformed, match=said):
        cells(text)


# OWASP, "CSV Injection": cells that begin with these, and the full-width forms of the first four.
@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"])
def test_text_that_a_spreadsheet_would_work_out_gets_an_apostrophe(sign: str) -> None:
    text = f"{sign}1+1"

    assert escaped(text) == f"'{text}"
    assert unescaped(escaped(text)) == text


@given(st.text(alphabet="'=+-@a1 \t＝"))
def test_what_is_escaped_is_always_read_as_it_was(text: str) -> None:
    assert unescaped(escaped(text)) == text
    assert not escaped(text).startswith(("=", "+", "-", "@", "\t", "＝"))


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_delimiter_is_the_one_that_finds_most_columns(delimiter: str) -> None:
    text = delimiter.join(["name", "reference", '"notes, and; more"']) + "\n"

    assert guess_delimiter(text, KINDS["client"]) == (delimiter, True)


def test_a_delimiter_that_finds_no_column_is_a_guess() -> None:
    assert guess_delimiter("Firma;Ort\nX;Y\n", KINDS["client"]) == (";", False)
