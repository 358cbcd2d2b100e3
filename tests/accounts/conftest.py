"""The way through the real sign-in."""

from typing import Any

import pytest
from django.test import Client as Browser

from accounts.models import Person
from tests.factories import PASSWORD


@pytest.fixture
def through_the_door() -> Any:
    """``through_the_door(person)`` → a test client that typed e-mail and password."""

    def entered(person: Person, password: str = PASSWORD) -> Browser:
        browser = Browser()
        browser.post("/account/sign-in/", {"login": person.email, "password": password})
        return browser

    return entered
