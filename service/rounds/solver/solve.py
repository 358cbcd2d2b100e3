"""Planning a week: read, screen, search in legs, polish, explain."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from .explain import finish
from .plan import Plan, plan_from
from .problem import Problem
from .request import read_problem
from .response import plan_response
from .start import first_week
from .team import Leg, Team
from .week import Model, Snapshot, build_model

SHORTEST_LEG_S, LONGEST_LEG_S = 1.0, 3.0
WANTED_LEGS = 20
STEP_LEGS = 8
"""Legs of a search that is limited by steps."""
RECOMBINE_EVERY = 3
"""Legs from one recombination to the next."""
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
    with Team(
        model, first, processes=effort.processes, seed=effort.seed, calm=calm, is_cancelled=is_cancelled
    ) as team:
        on_progress(_progress(model, team, 0.0, begun))
        for leg in _legs(effort, begun, ends):
            if is_cancelled():
                break
            team.run(leg)
            on_progress(_progress(model, team, leg.ends * SEARCHED, begun))
        if not is_cancelled():
            steps = effort.iterations and min(effort.iterations, MOST_POLISH_STEPS)
            team.finish(until=None if effort.iterations else ends, steps=steps)
        on_progress(_progress(model, team, 1.0, begun))
        return team.best


def _legs(effort: Effort, begun: float, ends: float) -> list[Leg]:
    if effort.iterations is not None:
        count = min(STEP_LEGS, max(1, effort.iterations))
        each = effort.iterations // count
        return [
            Leg(i / count, (i + 1) / count, steps=each, is_recombined=_is_recombined(i, count))
            for i in range(count)
        ]
    searched = begun + (ends - begun) * SEARCHED
    now = min(time.monotonic(), searched)
    length = min(LONGEST_LEG_S, max(SHORTEST_LEG_S, (searched - now) / WANTED_LEGS))
    count = max(1, round((searched - now) / length))
    return [
        Leg(
            i / count,
            (i + 1) / count,
            until=now + (searched - now) * (i + 1) / count,
            is_recombined=_is_recombined(i, count),
        )
        for i in range(count)
    ]


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
