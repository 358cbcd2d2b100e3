"""The way in: an owner invites by e-mail, the link makes one person, once, within seven days."""

import hashlib
import secrets
from collections.abc import Callable, Collection
from datetime import timedelta
from functools import partial

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.db import transaction
from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.utils import timezone
from django_scopes import scope, scopes_disabled

from accounts.access import NotAllowed, require
from accounts.audit import record_event
from accounts.models import Invitation, Person, RoleGrant
from accounts.roles import Action, Role

GOOD_FOR = timedelta(days=7)
Arrival = Callable[[Invitation, Person], None]
_arrivals: list[Arrival] = []


class InvitationGone(Exception):  # noqa: N818
    """The link is unknown, too old, withdrawn or used. One answer for all: a stranger learns nothing."""


def on_arrival(what: Arrival) -> None:
    """Let a room above do its part, in the same transaction, when an invitation becomes a person."""
    if what not in _arrivals:
        _arrivals.append(what)


def open_invitations() -> QuerySet[Invitation]:
    """Invitations of the firm in scope that can still be accepted, newest first."""
    return Invitation.objects.filter(
        accepted_at=None, withdrawn_at=None, expires_at__gt=timezone.now()
    ).order_by("-created_at")


@transaction.atomic
def invite(
    *, email: str, name: str, roles: Collection[str], by: Person, link: Callable[[str], str]
) -> Invitation:
    """Send an invitation; an older open one to the same address no longer works.

    link  Secret -> the whole address of the page that accepts it.

    Raises NotAllowed; ValidationError by field. That an address is in use at another firm is not said
    here, only to whoever reads that mailbox.
    """
    require(by, Action.MANAGE_PEOPLE)
    secret = secrets.token_urlsafe(32)
    invitation = Invitation(
        organisation=by.organisation,
        email=email.strip().lower(),
        name=name.strip(),
        roles=sorted({Role(role).value for role in roles}),
        secret_digest=_digest(secret),
        invited_by=by,
        expires_at=timezone.now() + GOOD_FOR,
    )
    if not invitation.roles:
        raise ValidationError({"roles": "Choose at least one role."})
    if Person.objects.filter(organisation=by.organisation, email=invitation.email).exists():
        raise ValidationError({"email": "Somebody of your firm signs in with this address already."})
    invitation.full_clean()
    open_invitations().filter(email=invitation.email).update(withdrawn_at=timezone.now())
    invitation.save()
    record_event(action="invitation.sent", subject=invitation, by=by, detail={"roles": invitation.roles})
    transaction.on_commit(partial(_send, invitation, link(secret)))
    return invitation


def find_invitation(secret: str) -> Invitation:
    """The open invitation of a link. Raises InvitationGone.

    The one query over all firms: whoever holds the secret has no firm yet.
    """
    with scopes_disabled():
        invitation = (
            open_invitations().filter(secret_digest=_digest(secret)).select_related("organisation").first()
        )
    if invitation is None:
        raise InvitationGone
    return invitation


def accept_invitation(*, secret: str, name: str, password: str) -> Person:
    """Make the person that was invited. Of two who use one link at once, one succeeds.

    Raises InvitationGone; ValidationError by field (name, password, email).
    """
    invitation = find_invitation(secret)
    with scope(organisation=invitation.organisation), transaction.atomic():
        taken = open_invitations().filter(pk=invitation.pk).update(accepted_at=timezone.now())
        if not taken:
            raise InvitationGone
        person = Person(organisation=invitation.organisation, email=invitation.email, name=name.strip())
        if Person.objects.filter(email=invitation.email).exists():
            raise ValidationError(
                {"email": "Somebody signs in with this address already. Ask to be invited at another one."}
            )
        _check_password(password, person)
        person.set_password(password)
        person.full_clean(exclude=["password"])
        person.save()
        RoleGrant.objects.bulk_create(RoleGrant(person=person, role=role) for role in invitation.roles)
        for what in _arrivals:
            what(invitation, person)
        record_event(action="invitation.accepted", subject=invitation, by=person)
    return person


@transaction.atomic
def withdraw_invitation(*, invitation: Invitation, by: Person) -> None:
    """Make the link useless. Raises NotAllowed; InvitationGone when it was used or withdrawn already."""
    require(by, Action.MANAGE_PEOPLE)
    if invitation.organisation_id != by.organisation_id:
        raise NotAllowed(Action.MANAGE_PEOPLE)
    if not open_invitations().filter(pk=invitation.pk).update(withdrawn_at=timezone.now()):
        raise InvitationGone
    record_event(action="invitation.withdrawn", subject=invitation, by=by)


def _check_password(password: str, person: Person) -> None:
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise ValidationError({"password": error.messages}) from error


def _digest(secret: str) -> str:
    """The secret has 256 bits of chance, so a plain digest cannot be reversed by trying."""
    return hashlib.sha256(secret.encode()).hexdigest()


def _send(invitation: Invitation, link: str) -> None:
    words = {"invitation": invitation, "link": link, "days": GOOD_FOR.days}
    send_mail(
        subject=f"Your way in to {invitation.organisation.name}".replace("\n", " "),
        message=render_to_string("accounts/mail/invitation.txt", words),
        from_email=None,
        recipient_list=[invitation.email],
    )
