"""What an owner does about people, and that it takes effect at once."""

from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.core.exceptions import ValidationError
from django.test import Client as Browser

from accounts import people
from accounts.access import NotAllowed
from accounts.models import AuditEvent, Person
from accounts.people import change_roles, close_account, forget_second_factor, reopen_account
from accounts.roles import Action, Role
from accounts.sessions import end_sessions
from tests.personas import Firm


def _fresh(person: Person) -> Person:
    return Person.objects.get(pk=person.pk)


def test_new_roles_count_at_once_and_end_every_session(in_firm: Firm, sign_in: Any) -> None:
    browser = sign_in(in_firm.office)

    change_roles(person=in_firm.office, roles=["technician"], by=in_firm.owner)

    assert _fresh(in_firm.office).roles == {"technician"}
    assert browser.get("/people/me/").status_code == 302


def test_the_trail_says_which_roles_were_given_and_taken(in_firm: Firm) -> None:
    change_roles(person=in_firm.office, roles=["technician"], by=in_firm.owner)

    entry = AuditEvent.objects.get(action="person.roles_changed")
    assert entry.detail == {"added": ["technician"], "removed": ["office"]}
    assert (entry.actor_id, entry.subject_id) == (in_firm.owner.pk, str(in_firm.office.pk))


def test_the_same_roles_change_nothing(in_firm: Firm, sign_in: Any) -> None:
    browser = sign_in(in_firm.office)

    change_roles(person=in_firm.office, roles=["office"], by=in_firm.owner)

    assert browser.get("/people/me/").status_code == 200


def test_the_last_owner_stays_an_owner(in_firm: Firm) -> None:
    with pytest.raises(ValidationError, match="needs an owner"):
        change_roles(person=in_firm.owner, roles=["office"], by=in_firm.owner)

    assert _fresh(in_firm.owner).roles == {"owner"}


def test_a_closed_account_is_out_at_once_and_cannot_come_back(
    in_firm: Firm, sign_in: Any, through_the_door: Any
) -> None:
    browser = sign_in(in_firm.technician)

    close_account(person=in_firm.technician, by=in_firm.owner)

    assert browser.get("/people/me/").status_code == 302
    assert through_the_door(in_firm.technician).get("/people/me/").status_code == 302


def test_a_reopened_account_works_again(in_firm: Firm, through_the_door: Any) -> None:
    close_account(person=in_firm.technician, by=in_firm.owner)
    reopen_account(person=_fresh(in_firm.technician), by=in_firm.owner)

    assert through_the_door(in_firm.technician).get("/people/me/").status_code == 200


def test_nobody_closes_their_own_account(in_firm: Firm) -> None:
    with pytest.raises(ValidationError, match="your own account"):
        close_account(person=in_firm.owner, by=in_firm.owner)


def test_a_lost_second_factor_is_removed(in_firm: Firm) -> None:
    Authenticator.objects.create(user=in_firm.technician, type=Authenticator.Type.TOTP, data={"secret": "x"})

    forget_second_factor(person=in_firm.technician, by=in_firm.owner)

    assert not Authenticator.objects.filter(user=in_firm.technician).exists()


@pytest.mark.parametrize("do", [close_account, reopen_account, forget_second_factor, end_sessions])
def test_only_an_owner_manages_people(do: Any, in_firm: Firm) -> None:
    with pytest.raises(NotAllowed):
        do(person=in_firm.technician, by=in_firm.office)


@pytest.mark.parametrize("do", [close_account, reopen_account, forget_second_factor])
def test_an_owner_of_another_firm_manages_nobody_here(do: Any, in_firm: Firm, stranger: Firm) -> None:
    with pytest.raises(NotAllowed):
        do(person=stranger.technician, by=in_firm.owner)


def test_a_failed_audit_entry_undoes_the_change(in_firm: Firm, monkeypatch: Any) -> None:
    def fails(**_: Any) -> None:
        raise RuntimeError("the last write fails")

    monkeypatch.setattr(people, "record_event", fails)
    with pytest.raises(RuntimeError):
        change_roles(person=in_firm.office, roles=["technician"], by=in_firm.owner)

    assert _fresh(in_firm.office).roles == {"office"}


@pytest.mark.parametrize("part", ["roles", "close", "second-factor/remove"])
def test_a_sensitive_page_asks_again_who_it_is(part: str, firm: Firm, sign_in: Any) -> None:
    answer = sign_in(firm.owner).get(f"/people/{firm.technician.pk}/{part}/")

    assert answer.status_code == 302
    assert answer["Location"].startswith("/account/confirm/")


def test_what_was_sent_before_confirming_is_done_afterwards(firm: Firm, sign_in: Any) -> None:
    browser = sign_in(firm.owner)
    asked = browser.post(f"/people/{firm.office.pk}/roles/", {"roles": ["technician"]})

    browser.post(asked["Location"], {"password": "correct-horse-battery"})

    assert _fresh(firm.office).roles == {"technician"}


def test_a_person_of_another_firm_is_not_found(firm: Firm, stranger: Firm, confirmed: Any) -> None:
    browser: Browser = confirmed(firm.owner)

    for part in ("", "roles/", "close/", "reopen/", "sessions/end/", "second-factor/remove/"):
        assert browser.get(f"/people/{stranger.technician.pk}/{part}").status_code == 404


def test_the_list_holds_the_firm_and_nobody_else(firm: Firm, stranger: Firm, sign_in: Any) -> None:
    page = sign_in(firm.owner).get("/people/").content.decode()

    assert {p.email for p in firm.people.values() if p.email in page} == {
        p.email for p in firm.people.values()
    }
    assert [p.email for p in stranger.people.values() if p.email in page] == []


def test_the_table_of_roles_is_the_one_the_code_reads(firm: Firm, sign_in: Any) -> None:
    page = sign_in(firm.technician).get("/people/roles/").content.decode()

    assert [role for role in Role if str(role.label) not in page] == []
    assert [action for action in Action if action.value.replace("'", "&#x27;") not in page] == []
