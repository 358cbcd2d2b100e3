"""The encoding of a text is found, or guessed and said to be a guess.

Names: the preferred MIME names of the IANA character-set register (RFC 2978), each of which is a label of
the WHATWG Encoding Standard, section 4.2; the byte-order marks are those of the Unicode Standard, 23.8.
"""

import codecs

import pytest

from service.importing.encoding import ENCODINGS, Guess, Undecodable, decode, guess_encoding, python_name

TEXT = "name;notes\nGöran's tub;Straße £ 5 – já\n"
# WHATWG Encoding Standard, section 4.2, the label of each encoding that is offered.
WHATWG_LABELS = {
    "utf-8",
    "utf-16le",
    "utf-16be",
    "windows-1252",
    "iso-8859-15",
    "windows-1250",
    "windows-1251",
    "macintosh",
    "ibm866",
}


def test_the_names_offered_are_labels_of_the_encoding_standard() -> None:
    assert set(ENCODINGS) == WHATWG_LABELS


@pytest.mark.parametrize("name", ENCODINGS)
def test_every_encoding_offered_reads_what_it_writes(name: str) -> None:
    text = "plain text; 7.4"

    assert decode(text.encode(python_name(name)), name) == text


@pytest.mark.parametrize(
    ("mark", "codec", "name"),
    [
        (codecs.BOM_UTF8, "utf-8", "utf-8"),
        (codecs.BOM_UTF16_LE, "utf-16-le", "utf-16le"),
        (codecs.BOM_UTF16_BE, "utf-16-be", "utf-16be"),
    ],
)
def test_a_byte_order_mark_settles_it_and_is_not_part_of_the_text(mark: bytes, codec: str, name: str) -> None:
    data = mark + TEXT.encode(codec)

    assert guess_encoding(data) == Guess(name, sure=True)
    assert decode(data, name) == TEXT


def test_valid_utf_8_is_utf_8() -> None:
    assert guess_encoding(TEXT.encode()) == Guess("utf-8", sure=True)


@pytest.mark.parametrize(("codec", "name"), [("utf-16-le", "utf-16le"), ("utf-16-be", "utf-16be")])
def test_utf_16_without_a_mark_is_guessed_by_its_nuls(codec: str, name: str) -> None:
    assert guess_encoding(TEXT.encode(codec)) == Guess(name, sure=False)


def test_the_windows_encoding_is_guessed_and_said_to_be_a_guess() -> None:
    guess = guess_encoding(TEXT.encode("cp1252"))

    assert not guess.sure
    assert decode(TEXT.encode("cp1252"), guess.encoding).startswith("name;notes\nGöran's tub;Stra")


def test_bytes_that_are_no_text_of_an_encoding_are_told_with_their_line() -> None:
    with pytest.raises(Undecodable, match="Line 2 is not UTF-8"):
        decode(b"name\nGr\xf6\xdfe\n", "utf-8")
