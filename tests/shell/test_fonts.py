"""The typeface in the repository is the one it says it is, and holds every sign that is drawn with it."""

import hashlib

import pytest
from django.conf import settings
from fontTools.ttLib import TTFont

FOLDER = settings.BASE_DIR / "service" / "static" / "fonts"
SUMS = dict(reversed(line.split()) for line in (FOLDER / "SHA256SUMS").read_text().splitlines())
SIGNS = "0123456789 ●■▲○ ±−≤≥°→←×·– ₂₃³µ é ß"


def test_every_font_file_is_listed_with_its_digest() -> None:
    files = {file.name for file in FOLDER.iterdir()} - {"README.md", "SHA256SUMS"}

    assert files == set(SUMS)


@pytest.mark.parametrize("name", sorted(SUMS))
def test_a_font_file_is_unchanged(name: str) -> None:
    assert hashlib.sha256((FOLDER / name).read_bytes()).hexdigest() == SUMS[name]


@pytest.mark.parametrize("name", sorted(name for name in SUMS if name != "LICENSE.md"))
def test_a_font_holds_every_sign_and_sets_figures_in_columns(name: str) -> None:
    font = TTFont(FOLDER / name)
    letters = font.getBestCmap()

    assert [sign for sign in SIGNS if ord(sign) not in letters] == []
    assert len({font["hmtx"][letters[ord(figure)]][0] for figure in "0123456789"}) == 1
