"""This room's tables go away without a trace and come back, on whichever database the tests run."""

from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader

pytestmark = pytest.mark.django_db(transaction=True)


def tables() -> set[str]:
    return {name for name in connection.introspection.table_names() if name.startswith("rounds_")}


def go_to(name: str | None) -> None:
    MigrationExecutor(connection).migrate([("rounds", name)])


@pytest.fixture
def _back_again(transactional_db: Any) -> Any:
    yield
    call_command("migrate", verbosity=0)


@pytest.mark.usefixtures("_back_again")
def test_every_migration_of_the_room_goes_forward_and_back() -> None:
    names = sorted(name for app, name in MigrationLoader(connection).disk_migrations if app == "rounds")
    had = {}
    for name in reversed(names):
        had[name] = tables()
        go_to(names[names.index(name) - 1] if name != names[0] else None)

    assert tables() == set()
    for name in names:
        go_to(name)
        assert tables() == had[name]
    call_command("makemigrations", "rounds", check=True, dry_run=True, stdout=StringIO())
