"""Fixtures every test may use, and how the database's guards live with the test flush."""

import time
from collections.abc import Iterator
from typing import Any

import pytest
from allauth.account.internal.flows.login import (
    _AUTHENTICATION_METHODS_USER_SESSION_KEY,
    AUTHENTICATION_METHODS_SESSION_KEY,
    user_id_to_str,
)
from django.core.cache import cache
from django.test import Client as Browser
from django.test import TransactionTestCase
from django.utils import timezone
from django_scopes import scope

from accounts.guards import install_guards, remove_guards
from accounts.models import Person
from accounts.sessions import mark_seen
from tests.personas import Firm, make_firm


@pytest.fixture(autouse=True)
def _fresh_cache() -> None:
    cache.clear()


@pytest.fixture
def firm(db: Any) -> Firm:
    """The firm a test is about."""
    return make_firm("Alderbrook Spa Care")


@pytest.fixture
def stranger(db: Any) -> Firm:
    """Another firm, which must never be seen."""
    return make_firm("Farwater Tubs")


@pytest.fixture
def in_firm(firm: Firm) -> Iterator[Firm]:
    """``firm`` with its organisation in scope."""
    with scope(organisation=firm.organisation):
        yield firm


@pytest.fixture
def sign_in() -> Any:
    """``sign_in(person)`` → a test client signed in as that person."""

    def signed_in(person: Any) -> Browser:
        browser = Browser()
        browser.force_login(person)
        session = browser.session
        mark_seen(session, timezone.now())
        session.save()
        return browser

    return signed_in


@pytest.fixture
def confirmed(sign_in: Any) -> Any:
    """``confirmed(person)`` → a test client that confirmed its password a moment ago."""

    def ready(person: Person) -> Browser:
        browser: Browser = sign_in(person)
        session = browser.session
        session[_AUTHENTICATION_METHODS_USER_SESSION_KEY] = user_id_to_str(person)
        session[AUTHENTICATION_METHODS_SESSION_KEY] = [
            {"method": "password", "at": time.time(), "reauthenticated": True}
        ]
        session.save()
        return browser

    return ready


_flush = TransactionTestCase._fixture_teardown


def _flush_without_guards(self: TransactionTestCase) -> None:
    # The guards refuse to empty a sealed table; they step aside for the flush alone.
    for alias in self._databases_names(include_mirrors=False):
        remove_guards(alias)
    try:
        _flush(self)
    finally:
        for alias in self._databases_names(include_mirrors=False):
            install_guards(alias)


TransactionTestCase._fixture_teardown = _flush_without_guards  # type: ignore[method-assign]
