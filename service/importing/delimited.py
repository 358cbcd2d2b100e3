"""Text tables (CSV): RFC 4180, with the delimiter found and every line end taken. Plain: no Django.

Text that a spreadsheet would take for a formula is written with an apostrophe before it, as the OWASP
page on CSV injection advises, and read back without it:

    written   an apostrophe is put before text that begins with any number of apostrophes, none
              included, and then one of = + - @ tab, a line end, or their full-width forms
    read      one apostrophe is taken off text that begins with one or more of them and then such a sign

so that what is written is always what is read again. Figures are written as they are.
"""

import csv
import io
import re
from collections.abc import Iterator

DELIMITERS = {",": "Comma", ";": "Semicolon", "\t": "Tab", "|": "Upright bar"}
_SIGNS = "=+\\-@\t\r\n＝＋－＠"
_WOULD_RUN = re.compile(f"'*[{_SIGNS}]")
_WAS_ESCAPED = re.compile(f"'+[{_SIGNS}]")
_FIELD_MAX = 40_000


class Malformed(ValueError):  # noqa: N818
    """The text is not a table. The message is for a person."""


def escaped(text: str) -> str:
    """The text as a cell that no spreadsheet works out.

    >>> escaped("=1+1"), escaped("'+44"), escaped("plain")
    ("'=1+1", "''+44", 'plain')
    """
    return f"'{text}" if _WOULD_RUN.match(text) else text


def unescaped(text: str) -> str:
    """What ``escaped`` was given.

    >>> unescaped("'=1+1"), unescaped("'twas"), unescaped("=1+1")
    ('=1+1', "'twas", '=1+1')
    """
    return text[1:] if _WAS_ESCAPED.match(text) else text


def records(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Each record with its number, as a spreadsheet counts rows. Empty ones are counted and left out.

    Raises Malformed where a quoted cell is not closed, or is followed by more text.
    """
    csv.field_size_limit(_FIELD_MAX)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    number = 0
    while True:
        number += 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as wrong:
            raise Malformed(_in_words(wrong, reader.line_num)) from wrong
        if any(cell.strip() for cell in cells):
            yield number, cells


def _in_words(wrong: csv.Error, line: int) -> str:
    said = str(wrong)
    if "expected after" in said:
        return f"Line {line}: a cell in quotes is followed by more text. Write a quote inside it twice."
    if "unexpected end" in said:
        return "A cell that begins with a quote is never closed: the file may be cut short."
    if "field larger" in said:
        return f"Line {line}: a cell holds more than {_FIELD_MAX:,} characters."
    return f"Line {line} cannot be read as a table."


def heads(text: str) -> dict[str, list[str]]:
    """The first record as each delimiter cuts it; delimiters with which it cannot be read are left out."""
    found = {}
    for delimiter in DELIMITERS:
        try:
            found[delimiter] = next(records(text, delimiter))[1]
        except (Malformed, StopIteration):
            continue
    return found
