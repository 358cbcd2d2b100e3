"""What one person does in one go at one place, and how linked jobs of a day are timed."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from .problem import Problem

Span = tuple[int, int]
"""Earliest and latest start, [ticks]."""

MOST_SPANS = 16
"""Windows kept for a merged job."""
MOMENTS = {1: 8, 2: 4}
"""Into how many moments the time between two linked jobs is cut, by number of links that day."""
MOST_BUNDLES = 64


@dataclass(frozen=True, slots=True)
class Job:
    """Visits served straight after each other; ``windows`` limit the start of the first of them."""

    day: int
    visits: tuple[int, ...]
    location: int
    service: int
    load: int
    windows: tuple[Span, ...] | None


@dataclass(frozen=True, slots=True)
class Lag:
    """The second job starts at least ``ticks`` after the first one starts (indices in the day's work)."""

    first: int
    second: int
    ticks: int


def make_jobs(problem: Problem, day: int, visits: Sequence[int]) -> list[Job]:
    """Jobs for linked visits on a day: those together at one place are merged if windows allow it."""
    jobs = []
    for group in _mergeable(problem, visits):
        merged = _job(problem, day, group)
        jobs += [merged] if merged.windows != () else [_job(problem, day, [visit]) for visit in group]
    return jobs


def _mergeable(problem: Problem, visits: Sequence[int]) -> list[list[int]]:
    groups: list[list[int]] = []
    for visit in visits:
        for group in groups:
            if all(_fits_with(problem, visit, other) for other in group):
                group.append(visit)
                break
        else:
            groups.append([visit])
    return groups


def _fits_with(problem: Problem, a: int, b: int) -> bool:
    first, second = problem.visits[a], problem.visits[b]
    follows = (first.after and first.after.visit == b) or (second.after and second.after.visit == a)
    return first.location == second.location and problem.are_together(a, b) and not follows


def _job(problem: Problem, day: int, visits: Sequence[int]) -> Job:
    order = sorted(visits, key=lambda v: ((problem.visits[v].windows_on(day) or ((0, 0),))[0], v))
    return Job(
        day=day,
        visits=tuple(order),
        location=problem.visits[order[0]].location,
        service=sum(problem.visits[v].service for v in order),
        load=sum(problem.visits[v].load for v in order),
        windows=_windows(problem, day, order),
    )


def _windows(problem: Problem, day: int, order: Sequence[int]) -> tuple[Span, ...] | None:
    """Spans in which the first visit may start so that all of them start within their windows."""
    offset, shifted = 0, []
    for index in order:
        visit = problem.visits[index]
        windows = visit.windows_on(day)
        if windows is not None:
            shifted.append([(opens - offset, closes - offset) for opens, closes in windows])
        offset += visit.service
    if not shifted:
        return None
    spans = {(max(0, *(o for o, _ in spans)), min(c for _, c in spans)) for spans in product(*shifted)}
    return tuple(sorted(span for span in spans if span[0] <= span[1])[:MOST_SPANS])


def together_groups(problem: Problem, jobs: Sequence[Job]) -> tuple[tuple[int, ...], ...]:
    """Indices of jobs that one person must do, each group with at least two of them."""
    groups: list[set[int]] = []
    for i, job in enumerate(jobs):
        linked = [g for g in groups if any(_share(problem, job, jobs[j]) for j in g)]
        groups = [g for g in groups if g not in linked] + [{i}.union(*linked)]
    return tuple(tuple(sorted(group)) for group in groups if len(group) > 1)


def _share(problem: Problem, a: Job, b: Job) -> bool:
    return any(problem.are_together(v, w) for v in a.visits for w in b.visits)


def find_lags(problem: Problem, jobs: Sequence[Job]) -> list[Lag]:
    """The gaps that ``after`` asks for between jobs of one day."""
    at = {visit: i for i, job in enumerate(jobs) for visit in job.visits}
    lags = []
    for visit, i in at.items():
        after = problem.visits[visit].after
        if after is None or after.visit not in at:
            continue
        first = at[after.visit]
        left = _offset(problem, jobs[first], after.visit) + problem.visits[after.visit].service
        lags.append(Lag(first, i, left + after.min_gap - _offset(problem, jobs[i], visit)))
    return lags


def _offset(problem: Problem, job: Job, visit: int) -> int:
    """From the start of a job to the start of one of its visits."""
    before = job.visits[: job.visits.index(visit)]
    return sum(problem.visits[v].service for v in before)


def bundles(problem: Problem, day: int, jobs: Sequence[Job], lags: Sequence[Lag]) -> list[tuple[Span, ...]]:
    """Ways to give each linked job a span of starts so that every gap is kept whatever is driven.

    The moment that divides two linked jobs is tried at a few places. Without a solution the list is
    empty: the jobs cannot be done on one day.
    """
    earliest, latest = day_span(problem, day)
    open_spans = [job.windows if job.windows is not None else ((earliest, latest),) for job in jobs]
    moments = MOMENTS.get(len(lags), 3)
    found: dict[tuple[Span, ...], None] = {}
    for spans in product(*open_spans):
        for bundle in _split(spans, lags, moments):
            found.setdefault(bundle)
            if len(found) == MOST_BUNDLES:
                return list(found)
    return list(found)


def day_span(problem: Problem, day: int) -> Span:
    """From the start of the first shift to the end of the last, overtime included."""
    shifts = [s for technician in problem.technicians for s in technician.shifts if s.day == day]
    return min((s.starts for s in shifts), default=0), max((s.latest_back for s in shifts), default=0)


def _split(spans: tuple[Span, ...], lags: Sequence[Lag], moments: int) -> Iterator[tuple[Span, ...]]:
    if not lags:
        yield spans
        return
    lag, rest = lags[0], lags[1:]
    (first_opens, first_closes), (opens, closes) = spans[lag.first], spans[lag.second]
    low, high = max(opens, first_opens + lag.ticks), min(closes, first_closes + lag.ticks)
    for moment in _moments(low, high, closes, moments):
        narrowed = list(spans)
        narrowed[lag.first] = (first_opens, min(first_closes, moment - lag.ticks))
        narrowed[lag.second] = (max(opens, moment), closes)
        if all(a <= b for a, b in narrowed):
            yield from _split(tuple(narrowed), rest, moments)


def _moments(low: int, high: int, closes: int, count: int) -> Iterable[int]:
    """Moments from low to high that still lie before the second job's latest start."""
    if low > closes:
        return []
    if high <= low:
        return [low]
    return sorted({low + (high - low) * i // (count - 1) for i in range(count)})
