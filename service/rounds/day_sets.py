"""Sets of days of one week on which so many visits can be made, the agreed spacing kept."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations, pairwise

DaySet = tuple[date, ...]


@dataclass(frozen=True)
class Spacing:
    """Days from visit to visit of one spa.

    least   Fewest days between two visits; always kept. 1: on different days.
    most    Most days between two visits; None: any number. Kept where it can be.
    before  The last visit before the week, if any.
    after   The first day after the week on which a visit can be made, if known.
    fixed   Days of the week on which the spa is visited anyway.
    """

    least: int = 1
    most: int | None = None
    before: date | None = None
    after: date | None = None
    fixed: tuple[date, ...] = ()


@dataclass(frozen=True)
class DayChoices:
    """sets: each sorted; in the order of their days. late: ``most`` could not be kept."""

    sets: tuple[DaySet, ...]
    late: bool = False


def day_choices(days: Iterable[date], count: int, spacing: Spacing) -> DayChoices:
    """Every set of ``count`` of ``days`` that keeps the spacing; no set when none does.

    Where no set keeps ``most``, its limit is dropped towards the weeks around first (then only the
    sets that begin earliest are left), and then altogether.

    >>> monday, thursday = date(2027, 6, 7), date(2027, 6, 10)
    >>> len(day_choices([monday, thursday], 2, Spacing(least=3)).sets)
    1
    >>> day_choices([monday, thursday], 2, Spacing(least=4)).sets
    ()
    """
    if count < 1:
        return DayChoices(())
    spaced = [chosen for chosen in combinations(sorted(set(days)), count) if _apart(chosen, spacing)]
    for kept in (_keeps_all, _keeps_within):
        if sets := [chosen for chosen in spaced if kept(chosen, spacing)]:
            return DayChoices(tuple(sets)) if kept is _keeps_all else DayChoices(_earliest(sets), late=True)
    return DayChoices(_earliest(spaced), late=bool(spaced))


def _apart(chosen: DaySet, spacing: Spacing) -> bool:
    return all(gap >= spacing.least for gap in _gaps(_with_before(_visits(chosen, spacing), spacing)))


def _keeps_within(chosen: DaySet, spacing: Spacing) -> bool:
    return spacing.most is None or all(gap <= spacing.most for gap in _gaps(_visits(chosen, spacing)))


def _keeps_all(chosen: DaySet, spacing: Spacing) -> bool:
    if spacing.most is None:
        return True
    visits = _with_before(_visits(chosen, spacing), spacing)
    if spacing.after is not None:
        visits = [*visits, spacing.after]
    return all(gap <= spacing.most for gap in _gaps(visits))


def _visits(chosen: DaySet, spacing: Spacing) -> list[date]:
    return sorted((*chosen, *spacing.fixed))


def _with_before(visits: list[date], spacing: Spacing) -> list[date]:
    return visits if spacing.before is None else [spacing.before, *visits]


def _gaps(visits: Sequence[date]) -> Iterator[int]:
    return ((later - earlier).days for earlier, later in pairwise(visits))


def _earliest(sets: Sequence[DaySet]) -> tuple[DaySet, ...]:
    return tuple(chosen for chosen in sets if chosen[0] == sets[0][0])
