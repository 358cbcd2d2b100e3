"""Tags of week plans: durations, states, and a technician's planned times beside a stop."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django import template

from accounts.models import Person
from service.rounds.mending import Mend, mend_of
from service.rounds.models import PlannedVisit, PlanState, WeekPlan
from service.rounds.week_page import said_state

register = template.Library()


@register.filter
def duration(minutes: float | None) -> str:
    """Minutes as people say them.

    >>> duration(75), duration(60), duration(9), duration(-75)
    ('1 h 15 min', '1 h', '9 min', '−1 h 15 min')
    """
    whole = round(minutes or 0)
    hours, rest = divmod(abs(whole), 60)
    parts = [f"{hours} h"] if hours else []
    if rest or not hours:
        parts.append(f"{rest} min")
    return ("−" if whole < 0 else "") + " ".join(parts)


@register.filter
def more_or_less(value: float | None) -> str:
    """A difference with its sign.

    >>> more_or_less(4), more_or_less(-1.5), more_or_less(0)
    ('+4', '−1.5', '±0')
    """
    number = value or 0
    sign = "+" if number > 0 else "−" if number < 0 else "±"
    return f"{sign}{abs(number):g}"


@register.filter
def plan_state(plan: WeekPlan) -> str:
    """The plan's state as a shape and words."""
    return said_state(plan)


@register.filter
def mend(row: PlannedVisit) -> Mend:
    """What helps a visit without a place."""
    return mend_of(row)


@dataclass(frozen=True)
class RoundOfDay:
    """A person's published round of a day: the round's key, when it begins, and times by visit."""

    round_id: Any
    depart_at: Any
    back_at: Any
    times: dict[Any, PlannedVisit]


@register.simple_tag
def published_round(person: Person, day: date) -> RoundOfDay | None:
    """``{% published_round user day as round %}``: the planned times of a day. One query."""
    rows = list(
        PlannedVisit.objects.filter(
            organisation=person.organisation_id,
            technician=person,
            day=day,
            plan__state=PlanState.PUBLISHED,
            visit__isnull=False,
        )
        .select_related("round")
        .order_by("sequence")
    )
    if not rows or rows[0].round is None:
        return None
    first = rows[0].round
    return RoundOfDay(first.pk, first.depart_at, first.back_at, {row.visit_id: row for row in rows})


@register.simple_tag
def planned_stop(day: RoundOfDay | None, stop: Any) -> PlannedVisit | None:
    """``{% planned_stop round stop as planned %}``: the first planned visit of a stop, or None."""
    if day is None:
        return None
    here = [day.times[visit.pk] for visit in stop.visits if visit.pk in day.times]
    return min(here, key=lambda row: row.sequence, default=None)


@register.filter
def driven(seconds: int | None, metres: int | None) -> str:
    """A drive as people say it.

    >>> driven(305, 3040), driven(20, 90)
    ('5 min, 3.0 km', 'under 1 min')
    """
    whole = round((seconds or 0) / 60)
    return f"{whole} min, {(metres or 0) / 1000:.1f} km" if whole else "under 1 min"
