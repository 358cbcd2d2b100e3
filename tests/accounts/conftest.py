"""Somebody who has just confirmed who they are, and the way through the real sign-in."""

import time
from typing import Any

import pytest
from allauth.account.internal.flows.login import (
    _AUTHENTICATION_METHODS_USER_SESSION_KEY,
    AUTHENTICATION_METHODS_SESSION_KEY,
    user_id_to_str,
)
from django.test import Client as Browser

from accounts.models import Person
from tests.factories import PASSWORD


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


@pytest.fixture
def through_the_door() -> Any:
    """``through_the_door(person)`` → a test client that typed e-mail and password."""

    def entered(person: Person, password: str = PASSWORD) -> Browser:
        browser = Browser()
        browser.post("/account/sign-in/", {"login": person.email, "password": password})
        return browser

    return entered
