"""Every component is accessible in both themes, at double zoom, and does what it says with a keyboard."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.personas import Firm

NewPage = Callable[..., Page]
AxeClean = Callable[[Page], None]


@pytest.fixture(autouse=True)
def _gallery(settings: Any, transactional_db: None) -> None:
    settings.ROOT_URLCONF = "tests.shell.gallery"


@pytest.mark.parametrize("size", ["phone", "desk"])
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_every_component_is_accessible(
    size: str, dark: bool, new_page: NewPage, axe_clean: AxeClean, firm: Firm, enter: Any
) -> None:
    page = new_page(size, dark=dark)
    enter(page, firm.owner)
    page.goto("/gallery/")
    axe_clean(page)

    page.get_by_label("Volume").fill("20")
    page.get_by_role("button", name="Save the spa").click()

    assert page.get_by_label("Volume").input_value() == "20"
    axe_clean(page)


def test_nothing_runs_off_a_page_at_double_zoom(new_page: NewPage, axe_clean: AxeClean) -> None:
    # 200 % zoom of a 1280 px desk leaves 640 CSS px; of a 390 px phone, 195.
    page = new_page("desk")
    for width in (640, 320):
        page.set_viewport_size({"width": width, "height": 400})
        page.goto("/gallery/")
        axe_clean(page)


def test_the_plus_beside_a_reading_adds_one_step_without_stray_decimals(page: Page) -> None:
    page.goto("/gallery/")
    field = page.get_by_role("textbox", name="pH")
    field.fill("7.2")
    more = page.locator(".stepper", has=field).get_by_role("button", name="More")

    more.click()

    assert field.input_value() == "7.3"


def test_the_first_press_starts_at_the_last_reading(page: Page) -> None:
    page.goto("/gallery/")
    field = page.get_by_role("textbox", name="pH")
    page.locator(".stepper", has=field).get_by_role("button", name="Less").click()

    assert field.input_value() == "7.4"


def test_steps_stop_at_the_limit(page: Page) -> None:
    page.goto("/gallery/")
    field = page.get_by_role("textbox", name="pH")
    field.fill("14")
    field.press("ArrowUp")

    assert field.input_value() == "14.0"


def test_without_scripts_a_reading_is_a_plain_field(new_page: NewPage) -> None:
    page = new_page("phone", scripts=False)
    page.goto("/gallery/")

    assert page.locator(".stepper button:visible").count() == 0
    assert page.get_by_role("textbox", name="Free chlorine").is_editable()


def test_what_is_pressed_with_wet_hands_is_large(new_page: NewPage) -> None:
    page = new_page("phone")
    page.goto("/gallery/")
    steppers = page.locator(".stepper button")
    boxes = [steppers.nth(number).bounding_box() for number in range(steppers.count())]

    assert boxes
    assert all(box and box["width"] >= 56 and box["height"] >= 56 for box in boxes)
    for name in ("Save the spa",):
        box = page.get_by_role("button", name=name).bounding_box()
        assert box
        assert box["height"] >= 48
