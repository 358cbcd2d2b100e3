"""Which visits are planned as one, and on which sets of days.

A *unit* is everything whose days must be chosen jointly: a single visit, or visits linked by
``together_with`` or ``after``. A *choice* says which jobs of a unit are done on which days.

Visits together: the same person on the same days; when they are due a different number of times, the
days of one hold the days of the other. A visit *after* another: later the same day wherever their day
choices allow it, else on a later day.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, islice

from . import words
from .costs import Costs
from .jobs import Job, Span, bundles, find_lags, make_jobs, together_groups
from .links import Days, Pairs, allowed_pairs
from .problem import Problem, group_numbers
from .screen import Reason, Screening, allowed_choices

MOST_CHOICES = 2000
MOST_PARTS = 200
"""Parts of an impossible set of linked visits that are tried."""


@dataclass(frozen=True, slots=True)
class DayWork:
    """What a choice asks for on one day.

    ``bundles`` are the ways to time jobs that follow each other (a span of starts for each job);
    empty when the jobs' own windows are all that counts. ``together`` groups positions in ``jobs``
    that one person must do.
    """

    day: int
    jobs: tuple[int, ...]
    bundles: tuple[tuple[Span, ...], ...] = ()
    together: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Choice:
    """Days of a unit; ``constant`` is the cost of moving visits and of leaving optional ones out."""

    work: tuple[DayWork, ...]
    constant: int


@dataclass(frozen=True, slots=True)
class Unit:
    """Visits planned jointly, with all their choices and the cost of leaving them all out."""

    visits: tuple[int, ...]
    choices: tuple[Choice, ...]
    drop: int

    @property
    def is_linked(self) -> bool:
        """Whether some day needs several jobs at once."""
        return any(len(work.jobs) > 1 for choice in self.choices for work in choice.work)


@dataclass
class Catalogue:
    """All units and jobs of the week, and why the other visits cannot be planned."""

    units: list[Unit] = field(default_factory=list)
    jobs: list[Job] = field(default_factory=list)
    reasons: dict[int, Reason] = field(default_factory=dict)
    _works: dict[tuple[int, tuple[int, ...]], DayWork | None] = field(default_factory=dict)

    def work_for(self, problem: Problem, day: int, visits: tuple[int, ...]) -> DayWork | None:
        """The work that serves linked visits on a day; None if they cannot be timed that day."""
        key = (day, visits)
        if key not in self._works:
            self._works[key] = self._make_work(problem, day, visits)
        return self._works[key]

    def _make_work(self, problem: Problem, day: int, visits: tuple[int, ...]) -> DayWork | None:
        jobs = make_jobs(problem, day, visits)
        lags = find_lags(problem, jobs)
        timed = tuple(bundles(problem, day, jobs, lags)) if lags else ()
        if lags and not timed:
            return None
        first = len(self.jobs)
        self.jobs.extend(jobs)
        return DayWork(day, tuple(range(first, len(self.jobs))), timed, together_groups(problem, jobs))


def build_catalogue(problem: Problem, screening: Screening, costs: Costs) -> Catalogue:
    """Units with at least one choice each; every other visit has a reason."""
    catalogue = Catalogue(reasons=dict(screening.reasons))
    _drop_followers(problem, catalogue.reasons)
    for members in _linked(problem, catalogue.reasons):
        kept, choices = _largest_part(problem, screening, costs, catalogue, members)
        if kept:
            catalogue.units.append(Unit(kept, choices, sum(costs.drop(problem.visits[v]) for v in kept)))
        for visit in set(members) - set(kept):
            others = words.names(problem.visits[v].id for v in members if v != visit)
            catalogue.reasons[visit] = Reason(
                "linked",
                f"its days or times cannot be combined with those of {others}",
                f"{others} could be served on the same days, or the link were lifted",
            )
    return catalogue


def _largest_part(
    problem: Problem, screening: Screening, costs: Costs, catalogue: Catalogue, members: tuple[int, ...]
) -> tuple[tuple[int, ...], tuple[Choice, ...]]:
    """As many of some linked visits as can be combined, and their choices; optional ones go first."""
    by_need = sorted(members, key=lambda v: (problem.visits[v].optional, v))
    parts = (part for size in range(len(members), 0, -1) for part in combinations(by_need, size))
    for part in islice(parts, MOST_PARTS):
        kept = tuple(sorted(part))
        if _lacks_first(problem, kept):
            continue
        choices = _choices(problem, screening, costs, catalogue, kept)
        if choices:
            return kept, choices
    return (), ()


def _lacks_first(problem: Problem, members: tuple[int, ...]) -> bool:
    """Whether a visit follows one that is not among the members."""
    return any((after := problem.visits[v].after) and after.visit not in members for v in members)


def _drop_followers(problem: Problem, reasons: dict[int, Reason]) -> None:
    """A visit that follows one that cannot be served cannot be served either."""
    found = True
    while found:
        found = False
        for index, visit in enumerate(problem.visits):
            if index in reasons or visit.after is None or visit.after.visit not in reasons:
                continue
            first = problem.visits[visit.after.visit].id
            reasons[index] = Reason(
                "linked", f"it follows {first}, which is not served", f"{first} were served"
            )
            found = True


def _linked(problem: Problem, reasons: Mapping[int, Reason]) -> list[tuple[int, ...]]:
    """Sets of visits that can be served and are linked with each other, directly or through others."""
    pairs = list(problem.followed)
    pairs += [(i, other) for i, visit in enumerate(problem.visits) for other in visit.together_with]
    numbers = group_numbers(len(problem.visits), [(a, b) for a, b in pairs if not {a, b} & set(reasons)])
    groups: dict[int, list[int]] = {}
    for visit, number in enumerate(numbers):
        if visit not in reasons:
            groups.setdefault(number, []).append(visit)
    return [tuple(group) for group in groups.values()]


def _choices(
    problem: Problem, screening: Screening, costs: Costs, catalogue: Catalogue, members: tuple[int, ...]
) -> tuple[Choice, ...]:
    options: list[list[Days]] = []
    for v in members:
        days: list[Days] = list(allowed_choices(problem.visits[v], screening.open_days[v]))
        may_be_left_out = problem.visits[v].optional and len(members) > 1
        options.append([*days, None] if may_be_left_out else days)
    found: list[Choice] = []
    for combination in _combinations(problem, members, options):
        choice = _choice(problem, costs, catalogue, members, combination)
        if choice:
            found.append(choice)
        if len(found) == MOST_CHOICES:
            break
    return tuple(found)


def _combinations(
    problem: Problem, members: tuple[int, ...], options: Sequence[Sequence[Days]]
) -> Iterator[tuple[Days, ...]]:
    """Joint day choices that keep every link, found by going through the members in turn."""
    pairs: dict[tuple[int, int], Pairs] = {}
    for j in range(len(members)):
        for i in range(j):
            allowed = allowed_pairs(problem, members[i], members[j], options[i], options[j])
            if allowed is not None:
                pairs[i, j] = allowed

    def extend(chosen: tuple[Days, ...]) -> Iterator[tuple[Days, ...]]:
        at = len(chosen)
        if at == len(members):
            yield chosen
            return
        for days in options[at]:
            if all((chosen[i], days) in pairs[i, at] for i in range(at) if (i, at) in pairs):
                yield from extend((*chosen, days))

    return extend(())


def _choice(
    problem: Problem,
    costs: Costs,
    catalogue: Catalogue,
    members: tuple[int, ...],
    combination: tuple[Days, ...],
) -> Choice | None:
    """The jobs for one joint day choice; None if some day cannot be timed, or nothing is served."""
    due: dict[int, list[int]] = {}
    constant = 0
    for visit, days in zip(members, combination, strict=True):
        if days is None:
            constant += costs.drop(problem.visits[visit])
            continue
        constant += costs.moved(problem.moved_days(visit, days))
        for day in days:
            due.setdefault(day, []).append(visit)
    work = [catalogue.work_for(problem, day, tuple(visits)) for day, visits in sorted(due.items())]
    if not work or None in work:
        return None
    return Choice(tuple(w for w in work if w is not None), constant)
