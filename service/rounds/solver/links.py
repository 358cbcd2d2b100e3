"""Which day choices of two linked visits go together."""

from collections.abc import Sequence

from .jobs import bundles, day_span, find_lags, make_jobs
from .problem import Problem

Days = tuple[int, ...] | None
"""Days of a visit; None leaves an optional one out."""
Pairs = set[tuple[Days, Days]]


def allowed_pairs(
    problem: Problem, a: int, b: int, days_a: Sequence[Days], days_b: Sequence[Days]
) -> Pairs | None:
    """The pairs of day choices that keep the links between two visits; None if they are not linked."""
    first, second = problem.visits[a], problem.visits[b]
    rules = []
    if problem.are_together(a, b):
        rules.append(_together(days_a, days_b))
    if second.after and second.after.visit == a:
        rules.append(_after(problem, a, b, days_a, days_b))
    if first.after and first.after.visit == b:
        rules.append({(x, y) for y, x in _after(problem, b, a, days_b, days_a)})
    return set.intersection(*rules) if rules else None


def _together(days_a: Sequence[Days], days_b: Sequence[Days]) -> Pairs:
    """Equal days where there are any, else the days of one within the days of the other."""
    both = [(x, y) for x in days_a for y in days_b if x is not None and y is not None]
    kept = [(x, y) for x, y in both if x == y] or [
        (x, y) for x, y in both if set(x) <= set(y) or set(y) <= set(x)
    ]
    return {*kept, *((x, y) for x in days_a for y in days_b if x is None or y is None)}


def _after(
    problem: Problem, first: int, second: int, days_first: Sequence[Days], days_second: Sequence[Days]
) -> Pairs:
    """Later the same day where possible, else on a day late enough."""
    both = [(x, y) for x in days_first for y in days_second if x is not None and y is not None]
    days = {day for _, y in both for day in y}
    fits = {day for day in days if _fits_in_a_day(problem, day, first, second)}
    kept = [(x, y) for x, y in both if set(y) <= set(x) & fits]
    kept = kept or [(x, y) for x, y in both if all(_has_earlier(problem, first, second, x, day) for day in y)]
    return {*kept, *((x, None) for x in days_first if None in days_second)}


def _fits_in_a_day(problem: Problem, day: int, first: int, second: int) -> bool:
    if () in (problem.visits[first].windows_on(day), problem.visits[second].windows_on(day)):
        return False
    jobs = make_jobs(problem, day, [first]) + make_jobs(problem, day, [second])
    return bool(bundles(problem, day, jobs, find_lags(problem, jobs)))


def _has_earlier(problem: Problem, first: int, second: int, days: tuple[int, ...], day: int) -> bool:
    """Whether the first visit is surely left long enough before the second can start on ``day``."""
    after = problem.visits[second].after
    if after is None or day in days:
        return False
    starts = max(day_span(problem, day)[0], (problem.visits[second].windows_on(day) or ((0, 0),))[0][0])
    return any(
        (day - d) * problem.day_ticks + starts - _left_by(problem, first, d) >= after.min_gap
        for d in days
        if d < day
    )


def _left_by(problem: Problem, visit: int, day: int) -> int:
    """Latest moment at which a visit can have been left."""
    windows = problem.visits[visit].windows_on(day)
    latest = day_span(problem, day)[1]
    return min(latest, windows[-1][1] + problem.visits[visit].service) if windows else latest
