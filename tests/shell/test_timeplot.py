"""The plot over time: deterministic, fit for a strict content security policy, told in words."""

import re
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest

from service.shell.inline_svg import inline_svg
from service.shell.lane import draw_lane
from service.shell.timeplot import ROLES, Point, draw
from tests.shell.gallery import LANE, MARCH, PLOT


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


def test_many_readings_draw_no_more_than_the_lowest_and_highest_of_each_slice() -> None:
    many = [Point(MARCH + timedelta(minutes=40 * n), Decimal(n * 37 % 100) / 10) for n in range(1000)]
    peak = Point(MARCH + timedelta(days=15), Decimal(30))
    crowded = replace(PLOT, points=[*many, peak], low=None, high=None)

    svg = inline_svg(draw(crowded), roles=ROLES, key="k", title="t", text=crowded.in_words())

    assert "1001 readings from 0 to 30 mg/L" in svg
    assert ">30<" in svg
    assert len(svg) < 12_000


@pytest.mark.parametrize(
    ("value", "hollow", "mark"),
    [
        (4, False, ("circle", "ink")),
        (4, True, ("circle", "paper")),
        (9, False, ("rect", "ink")),
        (9, True, ("rect", "paper")),
    ],
)
def test_shape_says_the_guideline_and_hollow_says_a_list(
    value: int, hollow: bool, mark: tuple[str, str]
) -> None:
    one = replace(PLOT, points=[Point(MARCH + timedelta(days=3), Decimal(value), hollow=hollow)], rules=[])

    svg = inline_svg(draw(one), roles=ROLES, key="k", title="t", text="one")

    assert re.findall(r'<(circle|rect) [^>]*class="stroke-ink fill-(ink|paper)"', svg) == [mark]


def test_a_lane_has_a_row_for_each_kind_and_a_bar_for_what_lasted() -> None:
    svg = inline_svg(draw_lane(LANE), roles=ROLES, key="k", title="What happened", text=LANE.in_words())

    assert re.findall(r">(Drained and refilled|Closed)<", svg) == ["Drained and refilled", "Closed"]
    assert svg.count("<polygon") == 2
    assert "Closed: Fri 27 Mar 2026 to Sun 29 Mar 2026." in svg
