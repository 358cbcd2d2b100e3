"""Acts of several people at the very same moment, on a server that really runs them side by side."""

import threading
from typing import Any

import pytest
from django.db import connection
from django_scopes import scope

from tests.personas import Firm

AT_ONCE = [
    pytest.mark.postgresql,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(
        connection.vendor != "postgresql",
        reason="runs when DATABASE_URL names a PostgreSQL server; SQLite has one writer at a time",
    ),
]
"""Marks of a module of such tests."""


def side_by_side(firm: Firm, *acts: Any) -> list[Any]:
    """Run the acts in threads that start together; what each returned, or raised."""
    together = threading.Barrier(len(acts))
    outcomes: list[Any] = [None] * len(acts)

    def run(place: int) -> None:
        try:
            with scope(organisation=firm.organisation):
                together.wait(timeout=10)
                outcomes[place] = acts[place]()
        except Exception as refusal:  # the refusal is the outcome
            outcomes[place] = refusal
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=[place]) for place in range(len(acts))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    return outcomes
