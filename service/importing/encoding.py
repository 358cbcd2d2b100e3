"""Which encoding a text file is in: known for sure, or guessed and said to be a guess.

Names are the preferred MIME names of the IANA character-set register, which are also labels of the
WHATWG Encoding Standard. Plain: no Django.
"""

import codecs
from dataclasses import dataclass

from charset_normalizer import from_bytes

# Offered to a person, in the order in which they are met.
ENCODINGS: dict[str, str] = {
    "utf-8": "UTF-8 (any language)",
    "utf-16le": "UTF-16, little end first",
    "utf-16be": "UTF-16, big end first",
    "windows-1252": "Windows, western Europe",
    "iso-8859-15": "Latin 9, western Europe with €",
    "windows-1250": "Windows, central Europe",
    "windows-1251": "Windows, Cyrillic",
    "macintosh": "Macintosh, western Europe",
    "ibm866": "DOS, Cyrillic",
}
_PYTHON = {
    "utf-16le": "utf-16-le",
    "utf-16be": "utf-16-be",
    "windows-1252": "cp1252",
    "windows-1250": "cp1250",
    "windows-1251": "cp1251",
    "macintosh": "mac_roman",
    "ibm866": "cp866",
}
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16le"),
    (codecs.BOM_UTF16_BE, "utf-16be"),
)
_SAMPLE = 64 * 1024


class Undecodable(ValueError):  # noqa: N818
    """The bytes are not text in the encoding that was asked for. The message is for a person."""


@dataclass(frozen=True)
class Guess:
    """An encoding of ``ENCODINGS``; ``sure`` when the bytes themselves leave no other reading."""

    encoding: str
    sure: bool


def guess_encoding(data: bytes) -> Guess:
    """The encoding of a text file: a byte-order mark, NULs at every second byte, valid UTF-8, or a guess.

    >>> guess_encoding("Größe".encode("utf-8"))
    Guess(encoding='utf-8', sure=True)
    >>> guess_encoding("Größe".encode("cp1252")).sure
    False
    """
    for mark, name in _MARKS:
        if data.startswith(mark):
            return Guess(name, sure=True)
    if name := _by_nuls(data[:_SAMPLE]):
        return Guess(name, sure=False)
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return Guess(_by_letters(data), sure=False)
    return Guess("utf-8", sure=True)


def _by_nuls(sample: bytes) -> str:
    """UTF-16 without a mark: text that is mostly Latin has a NUL in every second byte."""
    half = len(sample) // 2
    if half < 2:
        return ""
    for name, first in (("utf-16be", 0), ("utf-16le", 1)):
        if sample[first::2].count(0) > 0.4 * half:
            return name
    return ""


def _by_letters(data: bytes) -> str:
    """The single-byte encoding whose letters make most sense; western Europe when nothing speaks for any."""
    lines = [line for line in data.splitlines() if not line.isascii()]
    sample = b"\n".join(lines)[:_SAMPLE]
    singles = [python_name(name) for name in ENCODINGS if not name.startswith("utf-")]
    best = from_bytes(sample, cp_isolation=singles).best() if sample else None
    found = {python_name(name): name for name in ENCODINGS}.get(best.encoding) if best else None
    return found or "windows-1252"


def python_name(encoding: str) -> str:
    """The codec of an encoding of ``ENCODINGS``."""
    return _PYTHON.get(encoding, encoding.replace("-", "_").replace("iso_", "iso"))


def decode(data: bytes, encoding: str) -> str:
    """The text without a byte-order mark. Raises Undecodable, naming the first byte that does not fit."""
    try:
        text = data.decode(python_name(encoding))
    except UnicodeDecodeError as wrong:
        line = data.count(b"\n", 0, wrong.start) + 1
        raise Undecodable(
            f"Line {line} is not {ENCODINGS[encoding]}: choose another encoding below."
        ) from wrong
    return text.removeprefix("\ufeff")
