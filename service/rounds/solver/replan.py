"""The plan in force meets the day: what has happened stays, someone is off, the rest moves little."""

import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from .fields import Fields
from .problem import NO_ROAD_TICKS, Pin, Problem, Shift, Technician, Visit, Window
from .request import read_problem
from .response import plan_response
from .solve import Effort, Progress, never, plan_problem, show_nothing

MOVED_DRIVES, CHANGED_DRIVES = 4, 2
"""Price of moving a visit, and of changing its technician, in dearest drives, if the request has none."""


@dataclass(frozen=True, slots=True)
class Now:
    """The moment from which the week can still be changed, [day, ticks]."""

    day: int
    time: int


def without(
    request: Any,
    effort: Effort,
    *,
    on_progress: Callable[[Progress], None] = show_nothing,
    is_cancelled: Callable[[], bool] = never,
) -> dict[str, Any]:
    """Plan again without the technicians and days in ``request["without"]``, moving little.

    The request is that of ``plan``: ``previous`` is the plan in force, ``without`` a list of
    {"technician", "day"} (no day: the whole week), ``now`` {"day", "time"} fixes what has begun
    before. Unless the request has a price on moved visits, none is moved to save driving.
    """
    begun = time.monotonic()
    problem = read_problem(request)
    problem = fix_past(problem, read_now(request, problem))
    problem = _take_out(problem, _read_absences(request, problem))
    steady = _price_moves(problem)
    plan = plan_problem(steady, effort, begun=begun, on_progress=on_progress, is_cancelled=is_cancelled)
    plan.problem = problem  # the answer is in the prices of the request
    more = {"cancelled": True} if is_cancelled() else {}
    return plan_response(plan, seconds=time.monotonic() - begun, **more)


def read_now(request: Mapping[str, Any], problem: Problem) -> Now | None:
    """The ``now`` of a request."""
    if request.get("now") is None:
        return None
    fields = Fields()
    item = fields.object(request["now"], "now")
    day = int(fields.number(item.get("day"), "now.day", high=problem.days - 1, whole=True))
    moment = fields.optional_number(item.get("time"), "now.time") or 0
    fields.stop_if_bad()
    return Now(day, round(moment * problem.ticks_per_second))


def _read_absences(request: Mapping[str, Any], problem: Problem) -> list[tuple[int, int | None]]:
    fields = Fields()
    ids = {technician.id: i for i, technician in enumerate(problem.technicians)}
    absences: list[tuple[int, int | None]] = []
    for i, value in enumerate(fields.list(request.get("without"), "without")):
        item = fields.object(value, f"without[{i}]")
        who = fields.choice(item.get("technician"), f"without[{i}].technician", ids, "technician")
        high = problem.days - 1
        day = fields.optional_number(item.get("day"), f"without[{i}].day", high=high, whole=True)
        absences.append((who, None if day is None else int(day)))
    fields.stop_if_bad()
    return absences


def _take_out(problem: Problem, absences: list[tuple[int, int | None]]) -> Problem:
    """The problem without the shifts of those who are off, but with what they have begun."""

    def shifts(number: int, technician: Technician) -> Iterator[Shift]:
        for shift in technician.shifts:
            if not any(who == number and day in (None, shift.day) for who, day in absences):
                yield shift
            elif _begun_by(problem, number, shift.day):
                yield _cut(problem, number, shift)

    technicians = tuple(
        replace(technician, shifts=tuple(shifts(i, technician)))
        for i, technician in enumerate(problem.technicians)
    )
    return replace(problem, technicians=technicians)


def _begun_by(problem: Problem, technician: int, day: int) -> list[Visit]:
    """Visits that are fixed to a technician and a moment of a day."""
    fixed = Pin(technician, day)
    return [
        v for v in problem.visits if any(replace(pin, starts=None) == fixed and pin.starts for pin in v.pins)
    ]


def _cut(problem: Problem, technician: int, shift: Shift) -> Shift:
    """The shift up to the return from the last stop that was begun."""
    rows, home = problem.travel_rows, problem.technicians[technician].end
    back = [
        (visit.windows_on(shift.day) or ((shift.starts, shift.starts),))[0][0]
        + visit.service
        + rows[visit.location][home]
        for visit in _begun_by(problem, technician, shift.day)
    ]
    return replace(shift, ends=max(back), overtime_max=0)


def _price_moves(problem: Problem) -> Problem:
    """A price on moves that no shorter drive is worth, so that only what must move does."""
    prices = problem.prices
    if prices.moved_visit:
        return problem
    seconds = problem.travel / problem.ticks_per_second
    drives = prices.distance * problem.metres + (prices.driving + prices.duration) * seconds
    dearest = float(drives[problem.travel < NO_ROAD_TICKS].max(initial=0.0)) + prices.vehicle_day
    moved, changed = MOVED_DRIVES * dearest, CHANGED_DRIVES * dearest
    return replace(problem, prices=replace(prices, moved_visit=moved, moved_technician=changed))


def fix_past(problem: Problem, now: Now | None) -> Problem:
    """Pin what began before ``now`` and keep everything else out of the past."""
    if now is None:
        return problem
    begun = _begun(problem, now)
    latest = max((s.latest_back for t in problem.technicians for s in t.shifts), default=0)
    visits = tuple(
        _fixed(visit, now, begun.get(i, {}), problem.previous_days.get(i, {}), latest)
        for i, visit in enumerate(problem.visits)
    )
    out = {pin.technician for pins in begun.values() for pin in pins.values() if pin.day == now.day}
    technicians = tuple(
        technician if i in out else _starting_later(technician, now)
        for i, technician in enumerate(problem.technicians)
    )
    return replace(problem, visits=visits, technicians=technicians)


def _begun(problem: Problem, now: Now) -> dict[int, dict[int, Pin]]:
    """For every visit: the days on which it has begun, and what is fixed then."""
    found: dict[int, dict[int, Pin]] = {}
    for route in problem.previous or ():
        for visit, starts in zip(route.visits, route.starts, strict=True):
            today = route.day == now.day and starts is not None and starts < now.time
            if route.day < now.day or today:
                found.setdefault(visit, {})[route.day] = Pin(route.technician, route.day, starts)
    return found


def _fixed(
    visit: Visit, now: Now, begun: Mapping[int, Pin], planned: Mapping[int, int], latest: int
) -> Visit:
    """A visit whose past days are as they were, and whose other days lie after ``now``."""
    choices = tuple(days for days in visit.day_choices if _agrees(days, now, begun))
    if not choices and begun:  # it was served on other days than it should be; the rest stays planned
        choices = (tuple(sorted({*begun, *(day for day in planned if day >= now.day)})),)
    open_days = sorted({day for days in choices for day in days})
    windows = tuple(
        window
        for day in open_days
        for window in (_as_begun(begun[day]) if day in begun else _later(visit, day, now, latest))
    )
    pins = (*begun.values(), *(pin for pin in visit.pins if pin.day not in begun))
    return replace(
        visit, day_choices=choices or visit.day_choices, windows=windows or visit.windows, pins=pins
    )


def _agrees(days: tuple[int, ...], now: Now, begun: Mapping[int, Pin]) -> bool:
    """Whether a day choice has exactly the past days, and today if it was begun today."""
    past = {day for day in days if day < now.day}
    return past == {day for day in begun if day < now.day} and (now.day not in begun or now.day in days)


def _as_begun(pin: Pin) -> list[Window]:
    """The window of a visit that has begun: the moment at which it did, where that is known."""
    return [] if pin.starts is None else [Window(pin.day, pin.starts, pin.starts)]


def _later(visit: Visit, day: int, now: Now, latest: int) -> list[Window]:
    """The windows of a day that lie after ``now``."""
    windows = visit.windows_on(day)
    spans = ((0, latest),) if windows is None else windows
    if day == now.day:
        spans = tuple((max(opens, now.time), closes) for opens, closes in spans if closes >= now.time)
    return [Window(day, opens, closes) for opens, closes in spans]


def _starting_later(technician: Technician, now: Now) -> Technician:
    """A technician who has not begun today cannot leave before ``now``."""
    shifts = tuple(
        replace(shift, starts=max(shift.starts, now.time)) if shift.day == now.day else shift
        for shift in technician.shifts
        if shift.day != now.day or shift.latest_back > now.time
    )
    return replace(technician, shifts=shifts)
