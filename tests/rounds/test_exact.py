"""Tiny weeks: the plan costs what the best possible plan costs."""

import math

import pytest

from service.rounds.solver.solve import Effort, plan

from .checker import broken_rules
from .oracle import cheapest_cost
from .tiny import tiny_week

EVERY_DAY = range(24)
ALL = range(24, 200)


def _assert_optimal(seed: int, iterations: int) -> None:
    request = tiny_week(seed)

    response = plan(request, Effort(iterations=iterations, processes=1))

    best = cheapest_cost(request)
    assert broken_rules(request, response) == []
    if math.isinf(best):
        assert response["status"] == "incomplete"
    else:
        assert response["cost"] == pytest.approx(best, abs=0.01)


@pytest.mark.parametrize("seed", EVERY_DAY)
def test_a_tiny_week_costs_as_little_as_possible(seed: int) -> None:
    _assert_optimal(seed, 800)


@pytest.mark.long
@pytest.mark.parametrize("seed", ALL)
def test_many_tiny_weeks_cost_as_little_as_possible(seed: int) -> None:
    _assert_optimal(seed, 800)


@pytest.mark.parametrize("seed", range(2, 10))
def test_a_tiny_week_with_breaks_is_planned_within_five_per_cent_of_the_best(seed: int) -> None:
    """PyVRP knows no breaks, so the search can miss the best plan: 197 of 200 seeds were optimal."""
    request = tiny_week(seed, breaks=True)

    response = plan(request, Effort(iterations=800, processes=1))

    assert broken_rules(request, response) == []
    assert response["cost"] <= 1.05 * cheapest_cost(request)
