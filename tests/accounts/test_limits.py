"""Every limit on tries refuses the one too many, and lets tries through again when its time is over."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from allauth.account.app_settings import AppSettings
from django.core.cache import cache
from django.test import Client as Browser
from django.utils import timezone

from accounts.limits import LIMITS, Limit
from tests.factories import PASSWORD
from tests.personas import Firm

EACH = [pytest.param(action, limit, id=limit.words) for action, limits in LIMITS.items() for limit in limits]


def test_the_sign_in_library_keeps_the_limits_of_the_table() -> None:
    kept = AppSettings("ACCOUNT_").RATE_LIMITS

    assert {action: kept[action] for action in LIMITS} == {
        action: ",".join(limit.rate for limit in limits) for action, limits in LIMITS.items()
    }


@pytest.mark.parametrize(("action", "limit"), EACH)
def test_the_words_say_the_number(action: str, limit: Limit) -> None:
    spans = {300: "five minutes", 900: "fifteen minutes", 3600: "an hour", 86400: "a day"}

    assert str(limit.times) in limit.words
    assert spans[limit.seconds] in limit.words


def _wrong(browser: Browser, email: str) -> str:
    return browser.post("/account/sign-in/", {"login": email, "password": "wrong"}).content.decode()


def test_the_sixth_wrong_password_in_fifteen_minutes_is_refused_unread_and_later_it_works(firm: Firm) -> None:
    browser, start = Browser(), timezone.now()
    with time_machine.travel(start, tick=False):
        for _ in range(5):
            assert "do not belong together" in _wrong(browser, firm.office.email)
        assert "Too many tries" in _wrong(browser, firm.office.email)
        right = browser.post("/account/sign-in/", {"login": firm.office.email, "password": PASSWORD})
        assert "Too many tries" in right.content.decode()

    with time_machine.travel(start + timedelta(minutes=15, seconds=1), tick=False):
        right = browser.post("/account/sign-in/", {"login": firm.office.email, "password": PASSWORD})
    assert right.status_code == 302


def test_twenty_wrong_passwords_spread_over_a_day_are_the_most(firm: Firm) -> None:
    browser, start = Browser(), timezone.now()
    for number in range(20):
        with time_machine.travel(start + timedelta(minutes=16 * number), tick=False):
            assert "do not belong together" in _wrong(browser, firm.office.email)
    with time_machine.travel(start + timedelta(minutes=16 * 20), tick=False):
        assert "Too many tries" in _wrong(browser, firm.office.email)
    with time_machine.travel(start + timedelta(days=1, minutes=1), tick=False):
        assert "do not belong together" in _wrong(browser, firm.office.email)


def test_guessing_at_many_accounts_from_one_address_is_stopped_too(firm: Firm) -> None:
    browser, start = Browser(), timezone.now()
    with time_machine.travel(start, tick=False):
        said = [_wrong(browser, f"somebody{number}@example.org") for number in range(31)]

    assert ["Too many tries" in page for page in said] == [False] * 30 + [True]


def _tries(browser: Browser, path: str, fields: dict[str, str], times: int) -> list[int]:
    return [browser.post(path, fields).status_code for _ in range(times)]


PAGES = [
    pytest.param("signing_pin", "/people/me/signing-pin/", {"pin": "1", "again": "1"}, id="signing PIN"),
    pytest.param("email_change", "/people/me/email/", {"email": "no address"}, id="e-mail address"),
    pytest.param("invite", "/people/invite/", {"email": "no address"}, id="invitations"),
    pytest.param("change_password", "/account/password/", {"oldpassword": "wrong"}, id="password"),
]


@pytest.mark.parametrize(("action", "path", "fields"), PAGES)
def test_a_page_of_ones_own_refuses_the_one_too_many_and_reopens(
    action: str, path: str, fields: dict[str, str], firm: Firm, confirmed: Any
) -> None:
    limit, start = LIMITS[action][0], timezone.now()
    with time_machine.travel(start, tick=False):
        answers = _tries(confirmed(firm.owner), path, fields, limit.times + 1)
    assert answers == [200] * limit.times + [429]

    with time_machine.travel(start + timedelta(seconds=limit.seconds + 1), tick=False):
        assert _tries(confirmed(firm.owner), path, fields, 1) == [200]


STRANGERS = [
    pytest.param("login", "/account/sign-in/", {"login": ""}, 200, id="sign-in"),
    pytest.param("accept_invitation", "/people/invitation/", {"name": ""}, 410, id="accepting an invitation"),
    pytest.param("email_confirm", "/people/me/email/nonsense/", {}, 410, id="confirming an address"),
    pytest.param(
        "reset_password_from_key",
        "/account/password/new/1-set-password/",
        {},
        200,
        id="new password",
    ),
]


@pytest.mark.parametrize(("action", "path", "fields", "usual"), STRANGERS)
def test_an_open_page_refuses_the_one_too_many_and_reopens(
    action: str, path: str, fields: dict[str, str], usual: int, db: None
) -> None:
    limit, start = LIMITS[action][0], timezone.now()
    with time_machine.travel(start, tick=False):
        answers = _tries(Browser(), path, fields, limit.times + 1)
    assert answers == [usual] * limit.times + [429]

    with time_machine.travel(start + timedelta(seconds=limit.seconds + 1), tick=False):
        assert _tries(Browser(), path, fields, 1) == [usual]


def test_confirming_who_one_is_has_a_limit(firm: Firm, sign_in: Any) -> None:
    limit, browser, start = LIMITS["reauthenticate"][0], sign_in(firm.owner), timezone.now()
    with time_machine.travel(start, tick=False):
        said = [browser.post("/account/confirm/", {"password": "wrong"}) for _ in range(limit.times + 1)]

    # Wrong passwords count for the account too, and that limit is the narrower one.
    assert "not your password" in said[4].content.decode()
    assert "Too many tries" in said[5].content.decode()
    assert [answer.status_code for answer in said] == [200] * limit.times + [429]


def test_a_limit_of_one_person_leaves_others_alone(firm: Firm, confirmed: Any) -> None:
    times = LIMITS["signing_pin"][0].times
    fields = {"pin": "1", "again": "1"}
    _tries(confirmed(firm.owner), "/people/me/signing-pin/", fields, times + 1)

    assert _tries(confirmed(firm.office), "/people/me/signing-pin/", fields, 1) == [200]


def test_forgotten_passwords_of_many_accounts_from_one_address_are_stopped(db: None) -> None:
    limit, browser, start = LIMITS["reset_password"][0], Browser(), timezone.now()

    def ask(number: int) -> int:
        address = {"email": f"somebody{number}@example.org"}
        return browser.post("/account/password/forgotten/", address).status_code

    with time_machine.travel(start, tick=False):
        assert [ask(number) for number in range(limit.times + 1)] == [302] * limit.times + [429]
    with time_machine.travel(start + timedelta(seconds=limit.seconds + 1), tick=False):
        assert ask(0) == 302


def test_three_mails_about_a_forgotten_password_are_the_most(firm: Firm, mailoutbox: Any) -> None:
    for _ in range(4):
        Browser().post("/account/password/forgotten/", {"email": firm.office.email})

    assert len(mailoutbox) == 3
    cache.clear()
    Browser().post("/account/password/forgotten/", {"email": firm.office.email})
    assert len(mailoutbox) == 4
