"""A second factor: asked for at the door, sealed at rest, and compulsory where the firm says so."""

from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import (
    TOTP,
    format_hotp_value,
    generate_totp_secret,
    hotp_value,
    yield_hotp_counters_from_time,
)
from django.test import Client as Browser
from django_scopes import scope

from accounts.models import AuditEvent, Person
from accounts.people import ask_for_second_factors
from tests.personas import Firm


def _code(secret: str) -> str:
    return format_hotp_value(hotp_value(secret, next(yield_hotp_counters_from_time())))


def _with_app(person: Person) -> str:
    secret = generate_totp_secret()
    TOTP.activate(person, secret)
    return secret


def _ask_everybody(firm: Firm) -> None:
    with scope(organisation=firm.organisation):
        ask_for_second_factors(everybody=True, by=firm.owner)


def test_the_password_alone_does_not_open_an_account_with_an_app(firm: Firm, through_the_door: Any) -> None:
    secret = _with_app(firm.office)
    browser = through_the_door(firm.office)
    assert browser.get("/people/me/").status_code == 302

    browser.post("/account/sign-in/second-factor/", {"code": _code(secret)})

    assert browser.get("/people/me/").status_code == 200


def test_a_code_works_once(firm: Firm, through_the_door: Any) -> None:
    code = _code(_with_app(firm.office))
    through_the_door(firm.office).post("/account/sign-in/second-factor/", {"code": code})

    again = through_the_door(firm.office).post("/account/sign-in/second-factor/", {"code": code})

    assert "This code is not right" in again.content.decode()


def test_a_recovery_code_opens_once(firm: Firm, through_the_door: Any) -> None:
    _with_app(firm.office)
    code = RecoveryCodes.activate(firm.office).get_unused_codes()[0]
    first, second = through_the_door(firm.office), through_the_door(firm.office)

    first.post("/account/sign-in/second-factor/", {"code": code})
    second.post("/account/sign-in/second-factor/", {"code": code})

    assert first.get("/people/me/").status_code == 200
    assert second.get("/people/me/").status_code == 302


def test_the_secret_of_an_app_is_sealed_at_rest(firm: Firm) -> None:
    secret = _with_app(firm.office)

    assert secret not in str(Authenticator.objects.get(user=firm.office).data)


def test_where_the_firm_asks_nothing_opens_before_one_is_set_up(firm: Firm, sign_in: Any) -> None:
    _ask_everybody(firm)
    browser: Browser = sign_in(firm.technician)

    assert browser.get("/people/me/")["Location"] == "/account/second-factor/"
    assert "asks everybody for a second factor" in browser.get("/account/second-factor/").content.decode()
    assert browser.post("/account/sign-out/").status_code == 302


def test_with_one_set_up_everything_opens(firm: Firm, sign_in: Any) -> None:
    _ask_everybody(firm)
    _with_app(firm.technician)

    assert sign_in(firm.technician).get("/people/me/").status_code == 200


def test_another_firms_wish_binds_nobody_here(firm: Firm, stranger: Firm, sign_in: Any) -> None:
    _ask_everybody(stranger)

    assert sign_in(firm.technician).get("/people/me/").status_code == 200


def test_where_the_firm_asks_the_last_one_stays(firm: Firm, confirmed: Any) -> None:
    _ask_everybody(firm)
    _with_app(firm.technician)

    page = confirmed(firm.technician).post("/account/second-factor/app/remove/").content.decode()

    assert "this is your only one" in page
    assert Authenticator.objects.filter(user=firm.technician).exists()


def test_setting_up_an_app_asks_again_who_it_is(firm: Firm, sign_in: Any) -> None:
    answer = sign_in(firm.office).get("/account/second-factor/app/")

    assert answer["Location"].startswith("/account/confirm/")


def test_an_app_that_was_set_up_stands_on_the_trail(
    transactional_db: None, firm: Firm, confirmed: Any
) -> None:
    browser = confirmed(firm.office)
    browser.get("/account/second-factor/app/")
    secret = browser.session["mfa.totp.secret"]

    answer = browser.post("/account/second-factor/app/", {"code": _code(secret)})

    assert answer["Location"] == "/account/second-factor/codes/"
    with scope(organisation=firm.organisation):
        assert AuditEvent.objects.filter(action="person.factor_added", actor_id=firm.office.pk).exists()


def test_a_reset_password_does_not_pass_by_the_second_factor(firm: Firm, mailoutbox: Any) -> None:
    _with_app(firm.office)
    browser, new = Browser(), "nine-herons-on-the-weir"
    browser.post("/account/password/forgotten/", {"email": firm.office.email})
    link = next(word for word in mailoutbox[-1].body.split() if "/password/new/" in word)
    form = browser.get(link, follow=True)

    browser.post(form.request["PATH_INFO"], {"password1": new, "password2": new})
    assert Person.objects.get(pk=firm.office.pk).check_password(new)
    browser.post("/account/sign-in/", {"login": firm.office.email, "password": new})

    assert browser.get("/people/me/").status_code == 302


@pytest.mark.parametrize("wish", ["yes", "no"])
def test_an_owner_says_whether_everybody_needs_one(wish: str, firm: Firm, confirmed: Any) -> None:
    _with_app(firm.owner)

    confirmed(firm.owner).post("/people/second-factor/", {"everybody": wish})

    firm.organisation.refresh_from_db()
    assert firm.organisation.require_second_factor is (wish == "yes")


def test_setting_up_an_app_signs_out_every_other_browser(
    transactional_db: None, firm: Firm, confirmed: Any, sign_in: Any
) -> None:
    """OWASP ASVS 5.0, 7.4.3."""
    other = sign_in(firm.office)
    browser = confirmed(firm.office)
    browser.get("/account/second-factor/app/")

    browser.post("/account/second-factor/app/", {"code": _code(browser.session["mfa.totp.secret"])})

    assert browser.get("/people/me/").status_code == 200
    assert other.get("/people/me/").status_code == 302


def test_new_recovery_codes_sign_out_every_other_browser_and_are_in_the_trail(
    transactional_db: None, firm: Firm, confirmed: Any, sign_in: Any
) -> None:
    """OWASP ASVS 5.0, 7.4.3: who copied the old codes may also have signed in with one."""
    _with_app(firm.office)
    browser, other = confirmed(firm.office), sign_in(firm.office)
    assert other.get("/people/me/").status_code == 200

    browser.post("/account/second-factor/codes/new/")

    assert browser.get("/people/me/").status_code == 200
    assert other.get("/people/me/").status_code == 302
    with scope(organisation=firm.organisation):
        assert AuditEvent.objects.filter(action="person.codes_renewed", actor_id=firm.office.pk).exists()
