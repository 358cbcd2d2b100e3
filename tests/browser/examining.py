"""Everything an accessible page must hold to, asked of a page in Chromium.

The rules are axe's for WCAG 2.2 A and AA with its best practice, and ``examine.js``: WCAG 2.2 success
criteria 1.3.1 (tables, headings), 1.4.4 (text at 200 %), 1.4.10 (reflow at 320 CSS px), 2.1.1 and 2.1.2
(keyboard, no trap), 2.4.3 (order), 2.4.7 (focus seen), 2.5.8 (targets of 24 px), 3.3.1 (errors).
"""

from collections.abc import Iterator
from pathlib import Path

from axe_playwright_python.base import AXE_FILE_PATH
from playwright.sync_api import Page, ViewportSize

AXE = Path(AXE_FILE_PATH).read_text()
EXAMINE = Path(__file__).with_name("examine.js").read_text()
RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "rules": {"target-size": {"enabled": True}},
    "resultTypes": ["violations"],
    "preload": False,
}

PHONE = ViewportSize(width=390, height=844)
DESK = ViewportSize(width=1280, height=800)
# 200 % zoom at a desk of 1280 by 800, and the width of WCAG's reflow.
ZOOMED = ViewportSize(width=640, height=400)
NARROWEST = ViewportSize(width=320, height=568)

SMALLEST_TARGET = 24
# Ours, for what is pressed with wet hands.
TECHNICIAN_TARGET = 44
PRESSED_WITH_WET_HANDS = "button, .button, summary, select, textarea, input"


def complaints(page: Page, *, wet_hands: bool = False) -> list[str]:
    """What is wrong with the page that stands in the browser, as sentences.

    Light on the phone, dark at the desk: no colour depends on the size.
    wet_hands  A technician's page: what is pressed is large, and the keyboard is tried on the phone.
    """
    page.evaluate(AXE)
    page.evaluate(EXAMINE)
    found = [*_at_both_sizes(page), *_zoomed(page)]
    found += [
        ("", what) for check in ("headings", "tables", "errors", "ids") for what in _ask(page, f"{check}()")
    ]
    page.set_viewport_size(PHONE if wet_hands else DESK)
    if wet_hands:
        found += [
            ("phone", what)
            for what in _ask(page, f"tooSmall({TECHNICIAN_TARGET}, '{PRESSED_WITH_WET_HANDS}')")
        ]
    found += [("by keyboard", what) for what in _tab_through(page)]
    return [f"{where}: {what}" for where, what in found]


def brief_complaints(page: Page) -> list[str]:
    """What is wrong with another state of a kind of page that was examined whole, on the phone."""
    page.evaluate(AXE)
    page.evaluate(EXAMINE)
    page.set_viewport_size(PHONE)
    return [
        *_axe(page),
        *(what for check in ("tooWide", "headings", "errors", "ids") for what in _ask(page, f"{check}()")),
    ]


def _at_both_sizes(page: Page) -> Iterator[tuple[str, str]]:
    for where, size, theme in (("phone", PHONE, "light"), ("desk, dark", DESK, "dark")):
        page.set_viewport_size(size)
        page.emulate_media(color_scheme=theme, reduced_motion="reduce")
        for what in [*_axe(page), *_ask(page, f"tooSmall({SMALLEST_TARGET}, '*')"), *_ask(page, "tooWide()")]:
            yield where, what
    page.emulate_media(color_scheme="light")


def _zoomed(page: Page) -> Iterator[tuple[str, str]]:
    for where, size in (("zoomed", ZOOMED), ("at 320 px", NARROWEST)):
        page.set_viewport_size(size)
        for what in _ask(page, "tooWide()"):
            yield where, what
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    for where, size in (("phone, large text", PHONE), ("desk, large text", DESK)):
        page.set_viewport_size(size)
        for what in _ask(page, "tooWide()"):
            yield where, what
    page.evaluate("document.documentElement.style.fontSize = ''")


def _axe(page: Page) -> list[str]:
    found = page.evaluate("options => axe.run(document, options).then(found => found.violations)", RULES)
    return [
        f"{rule['id']}: {[node['target'] for node in rule['nodes']][:4]} {rule['nodes'][0]['failureSummary']}"
        for rule in found
    ]


def _ask(page: Page, question: str) -> list[str]:
    return list(page.evaluate(f"examine.{question}"))


def _tab_through(page: Page) -> list[str]:
    """Press Tab until every control had the focus, or far more often than there are controls."""
    stops = page.evaluate("examine.watch()")
    for _ in range(stops // 5 + 4):
        for _ in range(10):
            page.keyboard.press("Tab")
        if page.evaluate("examine.walked()"):
            break
    return _ask(page, "walk()")
