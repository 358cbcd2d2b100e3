"""Planning a week: read, screen, search in legs, polish, explain."""

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import accumulate
from typing import Any

from .explain import finish
from .plan import Plan, plan_from
from .polish import share_joinable
from .problem import Problem
from .request import read_problem
from .response import plan_response
from .search import Manner
from .start import first_week
from .team import Leg, Team
from .week import Model, Snapshot, build_model

SHORTEST_LEG_S, LONGEST_LEG_S = 1.0, 3.0
WANTED_LEGS = 20
STEP_LEGS = 8
"""Legs of a search that is limited by steps."""
RECOMBINE_EVERY = 3
"""Legs from one recombination to the next."""
JOINT = 0.6
"""Share of the search in which all days are worked on at once, where all visits may move by themselves;
where fewer may it falls with the square of their share."""
SECOND_JOINT = 0.6
"""Share of the other search after which this is done again; the first time is before, the third after it."""
MOSTLY = 0.15
"""Share of that work from which the search cools only once, from hotter: a second hot start would begin
after the days were joined, and waste what that gained."""
SEARCHED = 0.95
"""Share of the time spent in the search; the rest goes to polishing the days."""
MOST_POLISH_STEPS = 2000


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the search is: share of the time, cost so far, visits left out, rounds of the search."""

    fraction: float
    cost: float
    unserved: int
    iterations: int
    seconds: float


@dataclass(frozen=True, slots=True)
class Effort:
    """How long to search: seconds, or a number of iterations per process; and on how many processes."""

    seconds: float = 30.0
    iterations: int | None = None
    seed: int = 1
    processes: int = 2


def show_nothing(_: Progress) -> None:
    """Show nothing."""


def never() -> bool:
    """Go on."""
    return False


def plan(
    request: Any,
    effort: Effort,
    *,
    on_progress: Callable[[Progress], None] = show_nothing,
    is_cancelled: Callable[[], bool] = never,
) -> dict[str, Any]:
    """Plan the week that a request (parsed JSON) describes; returns the response of the contract.

    Raises BadRequestError naming the fields that are wrong. Stops at the time given, or when
    ``is_cancelled`` turns true, with the best plan so far. With ``iterations`` given, the same
    request, seed and number of processes give the same plan.
    """
    begun = time.monotonic()
    problem = read_problem(request)
    found = plan_problem(problem, effort, begun=begun, on_progress=on_progress, is_cancelled=is_cancelled)
    more = {"cancelled": True} if is_cancelled() else {}
    return plan_response(found, seconds=time.monotonic() - begun, **more)


def plan_problem(
    problem: Problem,
    effort: Effort,
    *,
    begun: float,
    on_progress: Callable[[Progress], None] = show_nothing,
    is_cancelled: Callable[[], bool] = never,
) -> Plan:
    """The best plan found for a problem; ``begun`` is the monotonic time from which seconds count."""
    model = build_model(problem)
    first = first_week(model, effort.seed).snapshot()
    if model.catalogue.units:
        first = _search(model, first, effort, begun, on_progress, is_cancelled)
    found = plan_from(model, first)
    finish(found, model.screening)
    return found


def _search(
    model: Model,
    first: Snapshot,
    effort: Effort,
    begun: float,
    on_progress: Callable[[Progress], None],
    is_cancelled: Callable[[], bool],
) -> Snapshot:
    calm = bool(model.problem.previous) and model.problem.prices.moved_visit > 0
    ends = begun + effort.seconds
    joint = JOINT * share_joinable(model) ** 2
    manner = Manner(is_calm=calm, is_joined=joint >= MOSTLY)
    with Team(
        model, first, processes=effort.processes, seed=effort.seed, manner=manner, is_cancelled=is_cancelled
    ) as team:
        on_progress(_progress(model, team, 0.0, begun))
        legs = _legs(effort, begun, ends, joint)
        for number, leg in enumerate(legs, start=1):
            if is_cancelled():
                break
            team.run(leg)
            on_progress(_progress(model, team, SEARCHED * number / len(legs), begun))
        if not is_cancelled():
            steps = effort.iterations and min(effort.iterations, MOST_POLISH_STEPS)
            team.finish(until=None if effort.iterations else ends, steps=steps)
        on_progress(_progress(model, team, 1.0, begun))
        return team.best


def _legs(effort: Effort, begun: float, ends: float, joint: float) -> list[Leg]:
    """The legs of a search of which the share ``joint`` is worked on all days at once."""
    if effort.iterations is not None:
        count = min(STEP_LEGS, max(1, effort.iterations))
        legs = [replace(leg, steps=effort.iterations // count) for leg in _apart(count)]
        polish = Leg(1.0, 1.0, steps=min(effort.iterations, MOST_POLISH_STEPS), is_joint=True)
        return _with_joint(legs, polish) if joint else legs
    now = time.monotonic()
    searched = max(0.0, begun + (ends - begun) * SEARCHED - now)
    apart = searched * (1 - joint)
    length = min(LONGEST_LEG_S, max(SHORTEST_LEG_S, apart / WANTED_LEGS))
    count = max(1, round(apart / length))
    legs = _apart(count)
    if joint:
        legs = _with_joint(legs, Leg(1.0, 1.0, is_joint=True))
    lasts = [searched * joint / 3 if leg.is_joint else apart / count for leg in legs]
    return [replace(leg, until=now + over) for leg, over in zip(legs, accumulate(lasts), strict=True)]


def _apart(count: int) -> list[Leg]:
    """Legs of the search in which the days are changed one by one."""
    return [Leg(i / count, (i + 1) / count, is_recombined=_is_recombined(i, count)) for i in range(count)]


def _with_joint(legs: list[Leg], joint: Leg) -> list[Leg]:
    second = round(SECOND_JOINT * len(legs))
    return [joint, *legs[:second], joint, *legs[second:], joint]


def _is_recombined(leg: int, legs: int) -> bool:
    """Some legs of the second half, the last one among them, begin with the routes met before."""
    return leg > legs / 2 and (legs - 1 - leg) % RECOMBINE_EVERY == 0


def _progress(model: Model, team: Team, fraction: float, begun: float) -> Progress:
    """Cost without the great price of required visits left out, which is of no meaning to people."""
    units = model.catalogue.units
    left_out = [units[u] for u, choice in enumerate(team.best.chosen) if choice is None]
    cost = team.best.cost - sum(unit.drop for unit in left_out)
    return Progress(
        fraction=round(fraction, 3),
        cost=round(model.costs.price(cost), 3),
        unserved=sum(len(unit.visits) for unit in left_out) + len(model.catalogue.reasons),
        iterations=team.iterations,
        seconds=round(time.monotonic() - begun, 2),
    )
