"""This room's tables go away without a trace and come back, on whichever database the tests run."""

from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection

pytestmark = [pytest.mark.long, pytest.mark.django_db(transaction=True)]


def tables() -> set[str]:
    return {name for name in connection.introspection.table_names() if name.startswith("rounds_")}


@pytest.fixture
def _back_again(transactional_db: Any) -> Any:
    yield
    call_command("migrate", verbosity=0)


@pytest.mark.usefixtures("_back_again")
def test_every_migration_of_the_room_goes_back_and_forward_again() -> None:
    before = tables()

    call_command("migrate", "rounds", "zero", verbosity=0)
    gone = tables()
    call_command("migrate", verbosity=0)

    assert "rounds_weekplan" in before
    assert gone == set()
    assert tables() == before
