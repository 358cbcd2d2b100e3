"""The search cools down once when there is little time for its size, and several times when there is much."""

import itertools

import pytest

from service.rounds.solver.cooling import COLD, HOT, HOTTER, ROUNDS_FOR_A_UNIT, Cooling


def _temperatures(units: int, rounds: int) -> list[float]:
    cooling = Cooling(units)
    return [cooling.temperature(done, done / rounds) for done in range(rounds)]


def _starts(temperatures: list[float]) -> int:
    return 1 + sum(b > a for a, b in itertools.pairwise(temperatures[200:]))


def test_a_search_with_few_rounds_cools_down_once_from_hot_to_cold() -> None:
    found = _temperatures(50, ROUNDS_FOR_A_UNIT * 50)

    assert (found[0], _starts(found)) == (HOT, 1)
    assert found[-1] == pytest.approx(COLD, rel=0.01)


def test_a_search_with_many_rounds_cools_down_several_times_for_equally_long() -> None:
    found = _temperatures(5, 4 * ROUNDS_FOR_A_UNIT * 5 + 50)

    hottest = [at for at, (a, b) in enumerate(itertools.pairwise(found), start=1) if b > a and at > 200]
    assert len(hottest) == 3
    assert {round(b - a, -1) for a, b in itertools.pairwise(hottest)} == {round(len(found) / 4, -1)}
    assert found[-1] == pytest.approx(COLD, rel=0.05)


def test_a_search_of_a_few_rounds_is_over_before_it_could_plan() -> None:
    assert _starts(_temperatures(3, 40)) == 1


def test_a_search_of_joined_days_cools_down_once_from_hotter_however_many_rounds_it_has() -> None:
    cooling = Cooling(5, is_joined=True)
    rounds = 4 * ROUNDS_FOR_A_UNIT * 5

    found = [cooling.temperature(done, done / rounds) for done in range(rounds)]

    assert (found[0], _starts(found), cooling.is_only) == (HOTTER, 1, True)
    assert found[-1] == pytest.approx(COLD, rel=0.01)
