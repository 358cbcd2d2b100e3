"""A small linear programme solver: bounded variables, dense tableau, Bland's rule against cycling.

The treatment plan is a linear programme of about ten rows and fifty columns, so that a dense
tableau in plain Python solves it in a fraction of a millisecond.

[1] Dantzig G. B., Linear Programming and Extensions, Princeton 1963, chapter 18: bounded variables.
[2] Bland R. G., New finite pivoting rules for the simplex method, Mathematics of Operations
    Research 2 (1977) 103-107.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

TINY = 1e-9
WORTHWHILE = 1e-7
PIVOTS_BEFORE_BLAND = 60
MOST_PIVOTS = 2000


class NoSolutionError(ArithmeticError):
    """The programme is unbounded, or the starting basis does not suit it."""


@dataclass
class _Tableau:
    rows: list[list[float]]
    values: list[float]
    costs: list[float]
    uppers: Sequence[float]
    basis: list[int]
    is_basic: list[bool]
    at_upper: list[bool]


def minimise(
    costs: Sequence[float],
    uppers: Sequence[float],
    rows: Sequence[Sequence[float]],
    right: Sequence[float],
    basis: Sequence[int],
) -> list[float]:
    """The x that minimises costs . x under rows . x = right and 0 <= x <= uppers.

    costs   One per variable.
    uppers  Upper bound of each variable, >= 0; math.inf where there is none.
    rows    Coefficients, one list per equation.
    right   Right-hand sides, >= 0 once each row is written so that its basis column is +1.
    basis   For each row the index of a variable that stands in no other row, with coefficient +1,
            and whose bound admits that right-hand side: the feasible start.

    Raises NoSolutionError when the programme is unbounded or the start is not feasible.

    >>> # least cost of a + b with a + 2 b >= 4 (surplus 2, shortfall 3), b <= 1
    >>> minimise([1, 1, 0, 100], [9e9, 1, 9e9, 9e9], [[1, 2, -1, 1]], [4], [3])
    [2.0, 1.0, 0.0, 0.0]
    """
    tableau = _start(costs, uppers, rows, right, basis)
    for pivot in range(MOST_PIVOTS):
        column = _entering(tableau, by_index=pivot >= PIVOTS_BEFORE_BLAND)
        if column is None:
            return _solution(tableau)
        _move(tableau, column)
    raise NoSolutionError("the simplex method did not end")


def _start(
    costs: Sequence[float],
    uppers: Sequence[float],
    rows: Sequence[Sequence[float]],
    right: Sequence[float],
    basis: Sequence[int],
) -> _Tableau:
    reduced = [float(cost) for cost in costs]
    table = [[float(entry) for entry in row] for row in rows]
    for row, value, basic in zip(table, right, basis, strict=True):
        if abs(row[basic] - 1.0) > TINY or not -TINY <= value <= uppers[basic] + TINY:
            raise NoSolutionError("the starting basis is not feasible")
        price = reduced[basic]
        if price:
            reduced = [cost - price * entry for cost, entry in zip(reduced, row, strict=True)]
    values = [float(value) for value in right]
    started = set(basis)
    is_basic = [place in started for place in range(len(costs))]
    return _Tableau(table, values, reduced, uppers, list(basis), is_basic, [False] * len(costs))


def _entering(tableau: _Tableau, *, by_index: bool) -> int | None:
    """The column that lowers the cost: the steepest, or the first once `by_index` (Bland)."""
    best, steepest = None, WORTHWHILE
    for column, cost in enumerate(tableau.costs):
        gain = cost if tableau.at_upper[column] else -cost
        # A basic column's cost is zero but for rounding, which large prices magnify.
        if gain > steepest and tableau.uppers[column] > 0 and not tableau.is_basic[column]:
            if by_index:
                return column
            best, steepest = column, gain
    return best


def _move(tableau: _Tableau, column: int) -> None:
    """Moves one variable as far as every bound allows, and pivots unless it met its own bound."""
    sign = -1.0 if tableau.at_upper[column] else 1.0
    step, leaving = tableau.uppers[column], -1
    for index, row in enumerate(tableau.rows):
        rate = sign * row[column]
        basic = tableau.basis[index]
        if rate > TINY:
            room = max(tableau.values[index], 0.0) / rate
        elif rate < -TINY:
            room = max(tableau.uppers[basic] - tableau.values[index], 0.0) / -rate
        else:
            continue
        if room < step - TINY or (room <= step and leaving >= 0 and basic < tableau.basis[leaving]):
            step, leaving = room, index
    if step == float("inf"):
        raise NoSolutionError("the linear programme is unbounded")
    for index, row in enumerate(tableau.rows):
        tableau.values[index] -= sign * step * row[column]
    if leaving < 0:
        tableau.at_upper[column] = not tableau.at_upper[column]
        return
    _pivot(tableau, leaving, column, (0.0 if sign > 0 else tableau.uppers[column]) + sign * step)


def _pivot(tableau: _Tableau, leaving: int, column: int, value: float) -> None:
    row = tableau.rows[leaving]
    old = tableau.basis[leaving]
    tableau.at_upper[old] = tableau.values[leaving] > 0.5 * tableau.uppers[old]
    tableau.at_upper[column] = False
    tableau.is_basic[old], tableau.is_basic[column] = False, True
    tableau.basis[leaving] = column
    tableau.values[leaving] = value
    scale = 1.0 / row[column]
    row = tableau.rows[leaving] = [entry * scale for entry in row]
    for index, other in enumerate(tableau.rows):
        factor = other[column]
        if index != leaving and factor:
            tableau.rows[index] = [a - factor * b for a, b in zip(other, row, strict=True)]
    factor = tableau.costs[column]
    if factor:
        tableau.costs = [a - factor * b for a, b in zip(tableau.costs, row, strict=True)]


def _solution(tableau: _Tableau) -> list[float]:
    result = [
        float(upper) if full else 0.0 for upper, full in zip(tableau.uppers, tableau.at_upper, strict=True)
    ]
    for basic, value in zip(tableau.basis, tableau.values, strict=True):
        result[basic] = value
    return result
