"""Readings and states are readable in the sun: contrast of at least 7:1 in both themes.

Formula: WCAG 2.2, "relative luminance" and "contrast ratio"; 7:1 is success criterion 1.4.6 (AAA).
What can be pressed and the edges of fields: 3:1, success criterion 1.4.11 (AA).
"""

import re

import pytest
from django.conf import settings

CSS = (settings.BASE_DIR / "service" / "static" / "css" / "runnel.css").read_text()


def _tokens(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{6})", block))


LIGHT = _tokens(CSS[CSS.index(":root {") : CSS.index("@media (prefers-color-scheme: dark)")])
DARK = LIGHT | _tokens(CSS[CSS.index("@media (prefers-color-scheme: dark)") : CSS.index("/* --- type")])


def _luminance(colour: str) -> float:
    parts = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_published_extremes() -> None:
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
    assert _contrast("#777777", "#777777") == pytest.approx(1)


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("role", ["ink", "ink-soft", "plum", "fit", "retest", "lapsed"])
def test_words_states_and_links_reach_seven_to_one(role: str, theme: dict[str, str]) -> None:
    assert _contrast(theme[role], theme["paper"]) >= 7


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_the_words_of_a_filled_button_reach_seven_to_one(theme: dict[str, str]) -> None:
    assert _contrast(theme["on-plum"], theme["plum"]) >= 7


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_the_edge_of_a_field_reaches_three_to_one(theme: dict[str, str]) -> None:
    assert _contrast(theme["rule-firm"], theme["paper"]) >= 3
