"""The way in: by invitation only, once, within seven days, with the roles that were given."""

import hashlib
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

from accounts import invitations
from accounts.access import NotAllowed
from accounts.invitations import (
    InvitationGone,
    accept_invitation,
    find_invitation,
    invite,
    withdraw_invitation,
)
from accounts.models import AuditEvent, Invitation, Person
from accounts.roles import Role
from service.sites.manager_access import choose_invited_clients
from service.sites.models import ClientAccess
from tests.personas import Firm

PASSWORD = "seven-otters-under-a-bridge"


def _invite(firm: Firm, email: str = "new@example.org", roles: tuple[str, ...] = ("technician",)) -> str:
    """Invite and return the secret that went into the e-mail."""
    secrets: list[str] = []

    def link(secret: str) -> str:
        secrets.append(secret)
        return f"https://runnel.example/{secret}"

    with scope(organisation=firm.organisation):
        invite(email=email, name="New Person", roles=roles, by=firm.owner, link=link)
    return secrets[0]


def test_an_invitation_goes_out_by_mail_and_makes_one_person(
    firm: Firm, confirmed: Any, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        confirmed(firm.owner).post(
            "/people/invite/", {"name": "Mar Quill", "email": "Mar@Example.org", "roles": ["technician"]}
        )
    link = re.search(r"http://testserver(/people/invitation/\S+/)", mail.outbox[-1].body)
    assert link
    guest = Browser()

    page = guest.get(link[1], follow=True)
    assert "Mar Quill" in page.content.decode()
    answer = guest.post("/people/invitation/", {"name": "Mar Quill", "password": PASSWORD})

    person = Person.objects.get(email="mar@example.org")
    assert answer["Location"] == "/account/sign-in/"
    assert (person.organisation, person.roles) == (firm.organisation, {"technician"})
    assert person.check_password(PASSWORD)


def test_the_address_of_the_page_that_accepts_holds_no_secret(firm: Firm) -> None:
    secret = _invite(firm)

    answer = Browser().get(f"/people/invitation/{secret}/")

    assert answer["Location"] == "/people/invitation/"
    assert answer["Referrer-Policy"] == "no-referrer"


def test_only_a_digest_of_the_secret_is_kept(firm: Firm) -> None:
    secret = _invite(firm)

    with scope(organisation=firm.organisation):
        invitation = Invitation.objects.get()
        entry = AuditEvent.objects.get(action="invitation.sent")
    assert invitation.secret_digest == hashlib.sha256(secret.encode()).hexdigest()
    assert secret not in str(vars(invitation))
    assert "new@example.org" not in str(vars(entry))


def test_an_invitation_works_once(firm: Firm) -> None:
    secret = _invite(firm)
    accept_invitation(secret=secret, name="New", password=PASSWORD)

    with pytest.raises(InvitationGone):
        accept_invitation(secret=secret, name="New", password=PASSWORD)


def test_an_invitation_works_for_seven_days_and_no_longer(firm: Firm) -> None:
    secret = _invite(firm)

    with time_machine.travel(timezone.now() + timedelta(days=7, seconds=-5)):
        assert find_invitation(secret)
    with time_machine.travel(timezone.now() + timedelta(days=7, seconds=5)), pytest.raises(InvitationGone):
        find_invitation(secret)


def test_a_withdrawn_invitation_is_gone(firm: Firm) -> None:
    secret = _invite(firm)
    with scope(organisation=firm.organisation):
        withdraw_invitation(invitation=Invitation.objects.get(), by=firm.owner)

    with pytest.raises(InvitationGone):
        find_invitation(secret)


def test_a_new_invitation_replaces_the_older_one_to_the_same_address(firm: Firm) -> None:
    older = _invite(firm)
    newer = _invite(firm)

    assert find_invitation(newer)
    with pytest.raises(InvitationGone):
        find_invitation(older)


@pytest.mark.parametrize("path", ["/people/invitation/nonsense/", "/people/invitation/"])
def test_a_link_of_nothing_says_what_to_do(path: str, db: None) -> None:
    answer = Browser().get(path, follow=True)

    assert answer.status_code == 410
    assert "ask the owner of the firm for a new invitation" in answer.content.decode()


def test_a_weak_password_is_refused_at_its_field_and_the_invitation_still_works(firm: Firm) -> None:
    secret = _invite(firm)
    guest = Browser()
    guest.get(f"/people/invitation/{secret}/")

    answer = guest.post("/people/invitation/", {"name": "Typed Name", "password": "1234567890"})
    page = answer.content.decode()

    assert "entirely numeric" in page
    assert 'value="Typed Name"' in page
    assert find_invitation(secret)


def test_somebody_of_the_firm_is_not_invited_again(in_firm: Firm) -> None:
    with pytest.raises(ValidationError, match="signs in with this address already"):
        invite(email=in_firm.office.email, name="X", roles=["office"], by=in_firm.owner, link=str)


def test_that_an_address_is_in_use_at_another_firm_is_told_to_its_mailbox_only(
    firm: Firm, stranger: Firm
) -> None:
    secret = _invite(firm, email=stranger.owner.email)

    with pytest.raises(ValidationError, match="invited at another one"):
        accept_invitation(secret=secret, name="X", password=PASSWORD)
    assert Person.objects.get(email=stranger.owner.email).organisation == stranger.organisation


@pytest.mark.parametrize("role", [Role.OFFICE, Role.TECHNICIAN, Role.RENTAL_MANAGER, Role.AUDITOR])
def test_only_an_owner_invites(role: Role, in_firm: Firm) -> None:
    with pytest.raises(NotAllowed):
        invite(email="x@example.org", name="X", roles=["office"], by=in_firm.people[role], link=str)


def test_a_failure_while_accepting_leaves_nothing_behind(firm: Firm, monkeypatch: Any) -> None:
    secret = _invite(firm)

    def fails(**_: Any) -> None:
        raise RuntimeError("the last write fails")

    monkeypatch.setattr(invitations, "record_event", fails)
    with pytest.raises(RuntimeError):
        accept_invitation(secret=secret, name="New", password=PASSWORD)

    assert not Person.objects.filter(email="new@example.org").exists()
    assert find_invitation(secret)


def test_an_invited_manager_sees_the_chosen_clients_from_the_start(firm: Firm) -> None:
    secret = _invite(firm, roles=(Role.RENTAL_MANAGER.value,))
    with scope(organisation=firm.organisation):
        invitation = Invitation.objects.get()
        choose_invited_clients(invitation=invitation, clients=[firm.hidden_client], by=firm.owner)

    person = accept_invitation(secret=secret, name="New", password=PASSWORD)

    with scope(organisation=firm.organisation):
        seen = ClientAccess.objects.filter(person=person).values_list("client", flat=True)
        assert list(seen) == [firm.hidden_client.pk]


def test_nobody_can_register_without_an_invitation(db: None) -> None:
    assert Browser().get("/account/signup/").status_code == 404
