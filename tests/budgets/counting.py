"""How many database statements each page takes, for each role that may open it."""

import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from accounts.roles import Role
from accounts.sessions import mark_seen
from tests.isolation.addresses import ADDRESSES
from tests.isolation.world import World

# Opening and closing a transaction differs between the databases and asks for nothing.
_TRANSACTION = ("BEGIN", "SAVEPOINT", "RELEASE SAVEPOINT", "ROLLBACK", "COMMIT", "SET CONSTRAINTS")


@dataclass(frozen=True)
class Counted:
    """One page as one role opens it. name: "owner GET sites:clients"."""

    name: str
    statements: tuple[str, ...]

    @property
    def number(self) -> int:
        return len(self.statements)


def walk(world: World, role: Role) -> Iterator[Counted]:
    """Every address that ``role`` may open, opened once; what cannot be read by GET is left out."""
    browser = in_use(world, role)
    for name, address in ADDRESSES.items():
        if address.public or role not in address.roles or name.startswith("api:"):
            # Another program signs in by token, not by session: the API counts its own queries.
            continue
        url = reverse(name, kwargs=address.arguments(world.seen))
        with CaptureQueriesContext(connection) as captured:
            answer = browser.get(url)
            if answer.streaming:
                b"".join(answer)
        if answer.status_code in (200, 302):
            yield Counted(f"{role.value} GET {name}", _statements(captured))


def in_use(world: World, role: Role, **headers: str) -> Browser:
    """A browser that has been in use for a minute: its session is on record, its password just confirmed.

    So the one write in five minutes that notes who is here falls outside of what is counted.
    """
    browser = Browser(**headers)
    browser.force_login(world.firm.people[role])
    session = browser.session
    mark_seen(session, timezone.now())
    session["account_authentication_methods"] = [{"method": "password", "at": time.time()}]
    session.save()
    return browser


def _statements(captured: Any) -> tuple[str, ...]:
    every = (query["sql"] for query in captured.captured_queries)
    return tuple(sql for sql in every if not sql.upper().startswith(_TRANSACTION))
