"""The clock stands still in these tests; a test moves it."""

from collections.abc import Iterator

import pytest
import time_machine

from tests.visits.working import MORNING


@pytest.fixture(autouse=True)
def clock() -> Iterator[time_machine.Traveller]:
    """10:00 on the firm's clock, a Wednesday in June; ``clock.shift(timedelta(...))`` moves it."""
    with time_machine.travel(MORNING, tick=False) as traveller:
        yield traveller
