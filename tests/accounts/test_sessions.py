"""A session ends by idle age, by absolute age, and everywhere at once when it must."""

from datetime import timedelta
from typing import Any

import time_machine
from django.test import Client as Browser
from django.utils import timezone
from django_scopes import scope

from accounts.models import Person
from accounts.sessions import end_sessions
from tests.factories import PASSWORD
from tests.personas import Firm

HOUR = timedelta(hours=1)


def test_three_hours_without_use_sign_out(firm: Firm, sign_in: Any) -> None:
    browser, start = sign_in(firm.technician), timezone.now()

    with time_machine.travel(start + 3 * HOUR - timedelta(minutes=1)):
        assert browser.get("/people/me/").status_code == 200
    with time_machine.travel(start + 6 * HOUR):
        assert browser.get("/people/me/").status_code == 302


def test_twelve_hours_after_signing_in_use_does_not_help(firm: Firm, sign_in: Any) -> None:
    browser, start = sign_in(firm.technician), timezone.now()

    for hours in range(1, 12):
        with time_machine.travel(start + hours * HOUR):
            assert browser.get("/people/me/").status_code == 200
    with time_machine.travel(start + 12 * HOUR + timedelta(minutes=1)):
        assert browser.get("/people/me/").status_code == 302


def test_reading_a_page_again_within_five_minutes_writes_nothing(
    firm: Firm, sign_in: Any, django_assert_num_queries: Any
) -> None:
    browser = sign_in(firm.auditor)
    browser.get("/people/roles/")

    # The session, and the person with the firm and the roles.
    with django_assert_num_queries(2):
        browser.get("/people/roles/")


def test_ending_sessions_signs_out_every_browser(firm: Firm, sign_in: Any) -> None:
    phone, desk = sign_in(firm.technician), sign_in(firm.technician)

    with scope(organisation=firm.organisation):
        end_sessions(person=firm.technician, by=firm.owner)

    assert [browser.get("/people/me/").status_code for browser in (phone, desk)] == [302, 302]


def test_a_new_password_signs_out_every_browser(firm: Firm, sign_in: Any, confirmed: Any) -> None:
    phone, desk = sign_in(firm.technician), confirmed(firm.technician)
    new = "nine-herons-on-the-weir"

    desk.post("/account/password/", {"oldpassword": PASSWORD, "password1": new, "password2": new})

    assert Person.objects.get(pk=firm.technician.pk).check_password(new)
    assert [browser.get("/people/me/").status_code for browser in (phone, desk)] == [302, 302]


def test_the_owner_sees_where_somebody_is_signed_in(firm: Firm, sign_in: Any, through_the_door: Any) -> None:
    through_the_door(firm.technician)

    page = sign_in(firm.owner).get(f"/people/{firm.technician.pk}/").content.decode()

    assert "127.0.0.1" in page
    assert "Sign out everywhere" in page


def test_a_form_that_comes_after_the_sign_out_is_shown_back(db: None) -> None:
    answer = Browser().post(
        "/people/me/details/", {"name": "Two hours of typing", "password": "secret-thing", "pin": "4826"}
    )

    page = answer.content.decode()
    assert answer.status_code == 401
    assert "Two hours of typing" in page
    assert "secret-thing" not in page
    assert "4826" not in page
    assert "/account/sign-in/?next=/people/me/details/" in page


def test_a_page_asked_for_signed_out_leads_to_the_sign_in_and_back(db: None) -> None:
    assert Browser().get("/people/me/")["Location"] == "/account/sign-in/?next=/people/me/"
