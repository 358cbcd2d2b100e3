"""Tags and filters of every page: state, band line, times, plots."""

from collections.abc import Mapping
from dataclasses import fields
from datetime import date, datetime
from typing import Any, Protocol
from uuid import uuid4

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString
from reportlab.graphics.shapes import Drawing

from service.shell import bandline, clock, timeplot
from service.shell.inline_svg import inline_svg
from service.shell.lane import Lane, draw_lane

register = template.Library()


class Fitness(Protocol):
    """What the ``fitness`` tag draws: state word and shape first, then its time in a sentence."""

    @property
    def state(self) -> str: ...
    @property
    def word(self) -> str: ...
    @property
    def shape(self) -> str: ...
    @property
    def sentence(self) -> str: ...


@register.simple_tag
def fitness(state: Fitness | None, *, brief: bool = False, large: bool = False) -> SafeString:
    """``{% fitness spa.fitness %}``: shape and word, then since when and until when.

    ``brief`` leaves the sentence out (only beside a column that gives the time); ``large`` is for the
    one state that a page is about.
    """
    if state is None:
        return SafeString("")
    mark = format_html(
        '<span class="fitness fitness-{}{}"><span aria-hidden="true">{}</span> {}</span>',
        state.state,
        " fitness-large" if large else "",
        state.shape,
        state.word,
    )
    if brief or not state.sentence:
        return mark
    # A sentence that opens with the word beside it would say it twice.
    rest = state.sentence.removeprefix(f"{state.word}. ")
    return format_html('{} <span class="fitness-time">{}</span>', mark, rest)


@register.inclusion_tag("shell/band_line.html")
def band_line(line: bandline.BandLine | Mapping[str, Any], *, words: bool = True) -> dict[str, Any]:
    """``{% band_line line %}``: the picture, with its words beside it unless ``words=False``.

    Takes a ``BandLine``, or the keyword arguments of ``bandline.band_line`` as a mapping.
    """
    drawn = line if isinstance(line, bandline.BandLine) else bandline.band_line(**line)
    percent = {
        field.name: _percent(getattr(drawn, field.name))
        for field in fields(drawn)
        if field.name in {"band", "ideal", "whisker", "value", "last", "expected"}
    }
    return {"line": drawn, "at": percent, "key": f"band-{uuid4().hex[:8]}", "words": words}


def _percent(position: bandline.Mark | tuple[float, float] | None) -> Any:
    if position is None:
        return None
    if isinstance(position, bandline.Mark):
        return f"{position.at * 100:.2f}%"
    return {"start": f"{position[0] * 100:.2f}%", "end": f"{position[1] * 100:.2f}%"}


@register.inclusion_tag("shell/time_plot.html")
def time_plot(plot: timeplot.TimePlot) -> dict[str, Any]:
    """``{% time_plot plot %}``: readings over time on the guideline's band. The page gives the numbers."""
    points = plot.in_order()
    return {
        "plot": plot,
        "svg": _inline(timeplot.draw(plot), f"{plot.name} over time", plot.in_words()) if points else "",
        "limits": bandline.limits_phrase(plot.low, plot.high, plot.unit),
        "last": points[-1] if points else None,
        "standing": bandline.judge(points[-1].value, plot.low, plot.high) if points else "",
    }


@register.simple_tag
def event_lane(lane: Lane) -> SafeString:
    """``{% event_lane lane %}``: what happened, a row for each kind, above plots of the same days."""
    return _inline(draw_lane(lane), "What happened", lane.in_words()) if lane.rows else SafeString("")


def _inline(drawing: Drawing, title: str, text: str) -> SafeString:
    key = f"plot-{uuid4().hex[:8]}"
    return SafeString(inline_svg(drawing, roles=timeplot.ROLES, key=key, title=title, text=text))


@register.simple_tag(takes_context=True, name="local_time")
def local_time_tag(context: template.Context, value: datetime | None, zone: str = "") -> SafeString:
    """``{% local_time value %}``: a ``<time>`` with the clock time in ``zone`` (else the firm's)."""
    return _stamp(context, value, zone, clock.local_time)


@register.simple_tag(takes_context=True, name="local_moment")
def local_moment_tag(context: template.Context, value: datetime | None, zone: str = "") -> SafeString:
    """``{% local_moment value %}``: a ``<time>`` with day and clock time in ``zone`` (else the firm's)."""
    return _stamp(context, value, zone, clock.local_moment)


def _stamp(context: template.Context, value: datetime | None, zone: str, words: Any) -> SafeString:
    if value is None:
        return SafeString("")
    zone = zone or getattr(context.get("organisation"), "time_zone", "UTC")
    return format_html('<time datetime="{}">{}</time>', value.isoformat(), words(value, zone))


@register.filter
def local_time(value: datetime | None, zone: str = "UTC") -> str:
    """``{{ value|local_time:zone }}`` → "14:30"."""
    return clock.local_time(value, zone) if value else ""


@register.filter
def local_moment(value: datetime | None, zone: str = "UTC") -> str:
    """``{{ value|local_moment:zone }}`` → "Tue 3 Mar 2026, 14:30"."""
    return clock.local_moment(value, zone) if value else ""


@register.filter
def local_day(value: datetime | date | None, zone: str = "UTC") -> str:
    """``{{ value|local_day:zone }}`` → "Tue 3 Mar 2026"; a date is a date in any zone."""
    return clock.local_day(value, zone) if value else ""


@register.filter
def device(user_agent: str) -> str:
    """What kind of thing a session runs on, from what its browser says of itself."""
    handheld = ("Mobi", "Android", "iPad", "Tablet")
    return "Phone or tablet" if any(word in user_agent for word in handheld) else "Computer"
