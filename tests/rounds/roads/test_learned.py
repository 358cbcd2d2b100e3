"""One factor from many drives: what may sway it, and what may not."""

import pytest

from service.rounds.roads.learned import FEWEST_DRIVES, Drive, learn


def drives(ratio: float, count: int) -> list[Drive]:
    return [Drive(600 + 10 * i, ratio * (600 + 10 * i)) for i in range(count)]


def test_the_factor_is_the_middle_ratio() -> None:
    learned = learn(drives(1.1, 20) + drives(1.2, 20) + drives(1.15, 1))

    assert (learned.factor, learned.drives, learned.used) == (1.15, 41, True)


def test_lunches_and_errands_do_not_move_it() -> None:
    learned = learn(drives(1.1, 40) + [Drive(600, 4000)] * 15 + [Drive(600, 120)] * 10)

    assert learned.factor == 1.1


def test_few_drives_teach_nothing() -> None:
    learned = learn(drives(1.3, FEWEST_DRIVES - 1))

    assert (learned.factor, learned.used) == (1.0, False)
    assert learned.words == "29 drives measured; 30 are needed to learn from."


@pytest.mark.parametrize("ratio", [0.4, 2.5])
def test_a_factor_that_nobody_would_believe_is_told_and_not_used(ratio: float) -> None:
    learned = learn(drives(ratio, 50))

    assert (learned.factor, learned.used) == (ratio, False)
    assert "not believable" in learned.words


@pytest.mark.parametrize(
    "drive", [Drive(20, 300), Drive(600, 0), Drive(600, -50), Drive(600, 9000), Drive(0, 60)]
)
def test_drives_that_measure_something_else_do_not_count(drive: Drive) -> None:
    assert learn([drive] * 100).drives == 0
