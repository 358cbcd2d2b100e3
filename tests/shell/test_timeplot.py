"""The plot over time: deterministic, fit for a strict content security policy, told in words."""

import re
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest

from service.shell.inline_svg import inline_svg
from service.shell.timeplot import ROLES, Point, draw
from tests.shell.gallery import MARCH, PLOT


def _svg() -> str:
    return inline_svg(draw(PLOT), roles=ROLES, key="k", title="Free chlorine over time", text=PLOT.in_words())


def test_the_same_readings_draw_the_same_bytes() -> None:
    assert _svg() == _svg()


def test_a_plot_carries_no_inline_style_or_colour() -> None:
    svg = _svg()

    assert "style=" not in svg
    assert "rgb(" not in svg
    assert set(re.findall(r'class="([^"]+)"', svg)) >= {"plot", "fill-band", "stroke-ink"}


def test_a_plot_says_what_it_shows() -> None:
    assert PLOT.in_words() == (
        "Free chlorine over time: 14 readings from 2.6 to 5.4 mg/L; 6 outside the guideline of 3 to 5 mg/L."
    )


def test_readings_outside_the_axis_are_left_out() -> None:
    early = Point(MARCH - timedelta(days=1), Decimal(9))

    assert early not in replace(PLOT, points=[early, *PLOT.points]).in_order()


def test_a_plot_without_readings_still_draws_its_axis() -> None:
    assert "1 Mar" in inline_svg(
        draw(replace(PLOT, points=[])), roles=ROLES, key="k", title="t", text="no readings"
    )


def test_a_plot_that_ends_before_it_starts_is_refused() -> None:
    with pytest.raises(ValueError, match="end after its start"):
        replace(PLOT, end=PLOT.start)
