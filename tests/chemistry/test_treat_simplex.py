"""The planner's linear programme solver against scipy.optimize.linprog (HiGHS)."""

import math
from random import Random

import numpy as np
import pytest
from scipy.optimize import linprog

from service.chemistry.treatment import programme
from service.chemistry.treatment.simplex import NoSolutionError, minimise
from service.chemistry.treatment.treat import treat
from tests.chemistry.treatment_waters import any_request


def by_scipy(costs, uppers, rows, right):
    bounds = [(0, None if upper == math.inf else upper) for upper in uppers]
    return linprog(costs, A_eq=rows, b_eq=right, bounds=bounds, method="highs").fun


def agrees(costs, uppers, rows, right, x):
    """Feasible, and as cheap as scipy's answer."""
    x = np.array(x)
    assert np.abs(np.array(rows) @ x - right).max() < 1e-5
    assert (x > -1e-7).all()
    assert (x <= np.array(uppers) + 1e-7).all()
    assert float(np.dot(costs, x)) == pytest.approx(by_scipy(costs, uppers, rows, right), rel=1e-5, abs=1e-5)


def random_programme(random):
    """A programme with elastic rows, so that a feasible start is known."""
    height, width = random.randint(1, 10), random.randint(1, 15)
    costs = [random.choice([0, 1, 2, 3 * random.random(), random.random() - 0.3]) for _ in range(width)]
    uppers = [random.choice([5 * random.random(), 3, 0, math.inf if cost >= 0 else 4]) for cost in costs]
    rows, right, basis = [], [], []
    for place in range(height):
        row = [random.choice([0, 0, 1, -1, random.gauss(0, 2)]) for _ in range(width)] + [0.0] * 2 * height
        row[width + 2 * place], row[width + 2 * place + 1] = 1.0, -1.0
        rows.append(row)
        right.append(random.choice([0, 4 * random.random(), 2]))
        basis.append(width + 2 * place)
        costs += [random.choice([0, 10, 1e3, 1e6]), random.choice([0, 5])]
        uppers += [math.inf, math.inf]
    return costs, uppers, rows, right, basis


@pytest.mark.parametrize("seed", range(60))
def test_random_programmes_cost_what_scipy_says(seed):
    costs, uppers, rows, right, basis = random_programme(Random(seed))

    agrees(costs, uppers, rows, right, minimise(costs, uppers, rows, right, basis))


def test_the_programmes_of_real_plans_cost_what_scipy_says(monkeypatch):
    """Prices of 3e7 beside 1: rounding once let a variable in the basis be flipped to its other bound."""
    asked = []

    def remember(*programme_data):
        asked.append(programme_data)
        return minimise(*programme_data)

    monkeypatch.setattr(programme, "minimise", remember)
    for seed in range(40):
        treat(any_request(Random(seed)))

    assert len(asked) > 200
    for costs, uppers, rows, right, basis in asked:
        agrees(costs, uppers, rows, right, minimise(costs, uppers, rows, right, basis))


def test_a_degenerate_programme_that_cycles_by_steepest_descent_ends():
    """Beale's example: cycles under the largest-coefficient rule (Beale 1955, Naval Research Logistics 2)."""
    costs = [-0.75, 150, -0.02, 6, 0, 0, 0]
    rows = [
        [0.25, -60, -0.04, 9, 1, 0, 0],
        [0.5, -90, -0.02, 3, 0, 1, 0],
        [0, 0, 1, 0, 0, 0, 1],
    ]

    x = minimise(costs, [math.inf] * 7, rows, [0, 0, 1], [4, 5, 6])

    assert float(np.dot(costs, x)) == pytest.approx(-0.05)


def test_an_unbounded_programme_is_refused():
    with pytest.raises(NoSolutionError, match="unbounded"):
        minimise([-1, 0], [math.inf, math.inf], [[-1, 1]], [1], [1])


def test_a_start_that_is_not_feasible_is_refused():
    with pytest.raises(NoSolutionError, match="not feasible"):
        minimise([1, 0], [math.inf, math.inf], [[1, 1]], [-1], [1])
