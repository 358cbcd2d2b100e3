"""One's own account: details, e-mail address and signing PIN."""

import re
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.core.exceptions import ValidationError
from django.test import Client as Browser
from django.utils import timezone
from django_scopes import scope

from accounts.access import NotAllowed
from accounts.models import AuditEvent, Person
from accounts.signing_pin import change_signing_pin, check_new_pin
from tests.personas import Firm


@pytest.mark.parametrize("pin", ["4826", "90713", "582904", "73920416", "0417"])
def test_a_pin_nobody_would_guess_first_is_taken(pin: str) -> None:
    check_new_pin(pin)


@pytest.mark.parametrize(
    "pin",
    ["0000", "77777777", "1212", "1234", "4321", "8901", "98765", "2580", "1987", "2031"],
)
def test_an_obvious_pin_is_refused(pin: str) -> None:
    with pytest.raises(ValidationError, match="first that anybody would try"):
        check_new_pin(pin)


@pytest.mark.parametrize("pin", ["", "123", "123456789", "48 26", "48a6", "４８２６", "4826\n"], ids=repr)
def test_a_pin_has_four_to_eight_digits(pin: str) -> None:
    with pytest.raises(ValidationError, match="4 to 8 digits"):
        check_new_pin(pin)


def test_a_pin_is_changed_and_kept_as_a_hash(firm: Firm, confirmed: Any) -> None:
    confirmed(firm.technician).post("/people/me/signing-pin/", {"pin": "58291", "again": "58291"})

    person = Person.objects.get(pk=firm.technician.pk)
    assert person.signing_pin_is("58291")
    assert "58291" not in person.signing_pin
    with scope(organisation=firm.organisation):
        assert AuditEvent.objects.get(action="person.pin_changed").detail == {}


def test_a_pin_is_not_shown_back_and_its_error_stands_at_the_field(firm: Firm, confirmed: Any) -> None:
    page = confirmed(firm.technician).post("/people/me/signing-pin/", {"pin": "1234", "again": "1234"})

    text = page.content.decode()
    assert 'id="id_pin_error"' in text
    assert 'value="1234"' not in text


def test_changing_the_pin_asks_again_who_it_is(firm: Firm, sign_in: Any) -> None:
    answer = sign_in(firm.technician).get("/people/me/signing-pin/")

    assert answer["Location"].startswith("/account/confirm/")


def test_who_signs_nothing_has_no_pin(firm: Firm, confirmed: Any) -> None:
    assert confirmed(firm.rental_manager).get("/people/me/signing-pin/").status_code == 404
    with pytest.raises(NotAllowed):
        change_signing_pin(pin="58291", by=firm.rental_manager)


def test_a_new_address_counts_once_its_mailbox_confirms(firm: Firm, confirmed: Any, mailoutbox: Any) -> None:
    old = firm.office.email
    browser: Browser = confirmed(firm.office)
    browser.post("/people/me/email/", {"email": "New@Example.org"})
    assert Person.objects.get(pk=firm.office.pk).email == old
    link = _link(mailoutbox[-1])

    Browser().get(link)
    assert Person.objects.get(pk=firm.office.pk).email == old
    Browser().post(link)

    assert Person.objects.get(pk=firm.office.pk).email == "new@example.org"
    assert browser.get("/people/me/").status_code == 302


def test_the_old_address_is_told(firm: Firm, confirmed: Any, django_capture_on_commit_callbacks: Any) -> None:
    confirmed(firm.office).post("/people/me/email/", {"email": "new@example.org"})

    with django_capture_on_commit_callbacks(execute=True):
        Browser().post(_link(mail.outbox[-1]))

    assert mail.outbox[-1].to == [firm.office.email]


def test_the_link_works_once_and_for_a_day(firm: Firm, confirmed: Any, mailoutbox: Any) -> None:
    browser = confirmed(firm.office)
    browser.post("/people/me/email/", {"email": "first@example.org"})
    link = _link(mailoutbox[-1])
    with time_machine.travel(timezone.now() + timedelta(hours=24, seconds=5)):
        assert Browser().post(link).status_code == 410

    assert Browser().post(link).status_code == 302
    assert Browser().post(link).status_code == 410


def test_an_address_in_use_is_refused_only_behind_the_link(
    firm: Firm, stranger: Firm, confirmed: Any, mailoutbox: Any
) -> None:
    answer = confirmed(firm.office).post("/people/me/email/", {"email": stranger.owner.email})
    assert answer.status_code == 302

    page = Browser().post(_link(mailoutbox[-1])).content.decode()

    assert "signs in with this address already" in page
    assert Person.objects.get(pk=firm.office.pk).email == firm.office.email


def test_details_are_saved(firm: Firm, sign_in: Any) -> None:
    sign_in(firm.office).post("/people/me/details/", {"name": "Wren Aldous", "phone": "0300 000000"})

    person = Person.objects.get(pk=firm.office.pk)
    assert (person.name, person.phone) == ("Wren Aldous", "0300 000000")


def test_an_empty_name_is_told_at_its_field(firm: Firm, sign_in: Any) -> None:
    page = sign_in(firm.office).post("/people/me/details/", {"name": "", "phone": "1"}).content.decode()

    assert 'id="id_name_error"' in page
    assert 'value="1"' in page


def _link(message: Any) -> str:
    found = re.search(r"http://testserver(\S+)", message.body)
    assert found
    return found[1]
