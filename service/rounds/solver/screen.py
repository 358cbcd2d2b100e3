"""What can be said before any search: visits that nobody could serve, and the days others can be.

An impossible visit never enters the search, so that it cannot spoil the rest of the week.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from . import words
from .problem import NO_ROAD_TICKS, Problem, Shift, Visit
from .timing import Step, schedule


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a visit is not served: a fixed code, the binding limit in words, and what would free it."""

    code: str
    reason: str
    would_fit_if: str
    day: int | None = None
    technician: str | None = None
    missing: int | None = None
    """Time that is missing, [ticks]."""


@dataclass(frozen=True, slots=True)
class Screening:
    """``open_days``: for each visit the days on which someone could serve it, were it alone."""

    open_days: tuple[frozenset[int], ...]
    reasons: Mapping[int, Reason]


def screen(problem: Problem) -> Screening:
    """Look at every visit as if it were the only one."""
    found = [screen_visit(problem, visit) for visit in problem.visits]
    reasons = {index: reason for index, (_, reason) in enumerate(found) if reason}
    return Screening(tuple(days for days, _ in found), reasons)


def screen_visit(problem: Problem, visit: Visit) -> tuple[frozenset[int], Reason | None]:
    """Days on which someone could serve a visit, and the reason if that is not enough."""
    reason = _nobody(problem, visit)
    if reason:
        return frozenset(), reason
    obstacles = _obstacles(problem, visit)
    return frozenset(_all_days(visit) - set(obstacles)), _no_days(problem, visit, obstacles)


def allowed_choices(visit: Visit, open_days: frozenset[int]) -> list[tuple[int, ...]]:
    """The visit's day choices that lie on open days only and hold its pinned days."""
    return [
        days for days in visit.day_choices if open_days.issuperset(days) and visit.pinned_days.issubset(days)
    ]


def _all_days(visit: Visit) -> set[int]:
    return {day for days in visit.day_choices for day in days}


def _nobody(problem: Problem, visit: Visit) -> Reason | None:
    """Reasons that hold on every day: skills, refusals, load."""
    people = range(len(problem.technicians))
    skilled = [t for t in people if visit.needs <= problem.technicians[t].skills]
    if not skilled:
        missing = words.names(visit.needs)
        return Reason("no_skill", f"no technician can do {missing}", f"a technician could do {missing}")
    willing = [t for t in skilled if t not in visit.not_with]
    if not willing:
        return Reason(
            "refused",
            f"it must not be served by {words.technicians(problem, skilled)}, and nobody else has the skills",
            "one of them were allowed, or another technician had the skills",
        )
    unable = [pin for pin in visit.pins if pin.technician not in (None, *willing)]
    if unable and unable[0].technician is not None:
        return _pin_clash(problem.technicians[unable[0].technician].id)
    largest = max(_capacity(problem, t) for t in willing)
    if visit.load > largest:
        return Reason(
            "too_heavy",
            f"its load of {words.load(problem, visit.load)} is above the largest van's "
            f"{words.load(problem, int(largest))}",
            f"a van could take {words.load(problem, visit.load)}",
        )
    return None


def _pin_clash(name: str) -> Reason:
    return Reason(
        "pinned",
        f"it is pinned to {name}, who lacks the skills or must not serve it",
        "the pin were lifted",
        technician=name,
    )


def _capacity(problem: Problem, technician: int) -> float:
    capacity = problem.technicians[technician].capacity
    return float("inf") if capacity is None else capacity


def _obstacles(problem: Problem, visit: Visit) -> dict[int, Reason]:
    """For each of the visit's days that is impossible, why."""
    found = {day: _obstacle(problem, visit, day) for day in sorted(_all_days(visit))}
    return {day: reason for day, reason in found.items() if reason}


def _obstacle(problem: Problem, visit: Visit, day: int) -> Reason | None:
    """Why nobody can serve the visit on a day, even alone."""
    if visit.windows_on(day) == ():
        return _closed(problem, visit, day)
    shifts = [
        (t, shift)
        for t, technician in enumerate(problem.technicians)
        for shift in technician.shifts
        if shift.day == day and _capacity(problem, t) >= visit.load and problem.may_serve(visit, t, day)
    ]
    if not shifts:
        name = words.day_name(day)
        who = "nobody who may serve it works" if problem.technicians else "nobody works"
        return Reason("no_open_day", f"{who} on {name}", f"someone suitable worked on {name}", day=day)
    misses = []
    for t, shift in shifts:
        missing = _miss(problem, visit, t, shift)
        if missing == 0:
            return None
        misses.append((missing, t))
    return _unreachable(problem, visit, day, *min(misses))


def _closed(problem: Problem, visit: Visit, day: int) -> Reason:
    name, starts = words.day_name(day), visit.pinned_start(day)
    if starts is None:
        return Reason("no_open_day", f"closed on {name}", f"the place were open on {name}", day=day)
    at = words.clock(problem, starts)
    return Reason(
        "no_open_day", f"closed on {name} at {at}, its pinned start", "the pin were lifted", day=day
    )


def _unreachable(problem: Problem, visit: Visit, day: int, missing: int, closest: int) -> Reason:
    if missing >= NO_ROAD_TICKS // 2:
        there = words.place(problem, visit)
        return Reason("no_road", f"no road leads to {there}", f"{there} could be reached", day=day)
    name, text = words.day_name(day), words.span(problem, missing)
    technician = problem.technicians[closest].id
    return Reason(
        "window_unreachable",
        f"even alone it cannot be done in time on {name}: {text} too late with {technician}",
        f"its window or the shift of {technician} on {name} were {text} longer",
        day=day,
        technician=technician,
        missing=missing,
    )


def _miss(problem: Problem, visit: Visit, technician: int, shift: Shift) -> int:
    """By how much the visit alone breaks the limits of a shift, [ticks]."""
    step = Step(visit.location, visit.service, visit.windows_on(shift.day))
    return schedule(problem.travel_rows, problem.technicians[technician], shift, [step]).excess


def _no_days(problem: Problem, visit: Visit, obstacles: Mapping[int, Reason]) -> Reason | None:
    """The reason why none of the visit's day choices is left, if none is."""
    open_days = frozenset(_all_days(visit) - set(obstacles))
    if allowed_choices(visit, open_days):
        return None
    odd = sorted(visit.pinned_days - _all_days(visit))
    if odd:
        name = words.day_name(odd[0])
        return Reason(
            "pinned",
            f"it is pinned to {name}, which is in none of its day choices",
            f"the pin were lifted or {name} were allowed",
            day=odd[0],
        )
    wanted = sorted(obstacles.items())
    unreachable = [reason for _, reason in wanted if reason.code not in ("no_open_day",)]
    if unreachable:
        return min(unreachable, key=lambda reason: reason.missing or 0)
    if not wanted:
        return Reason("pinned", "its pinned day is in none of its open day choices", "the pin were lifted")
    return Reason(
        "no_open_day",
        "no allowed day has both a shift and an open window: " + "; ".join(r.reason for _, r in wanted),
        " or ".join(dict.fromkeys(reason.would_fit_if for _, reason in wanted)),
        day=wanted[0][0],
    )
