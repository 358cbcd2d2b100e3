"""Access tokens: how another program acts for a person of the firm, as far as one role goes.

A token can do what its role may and the person it acts for still may, whichever is less; it never
manages people, tokens or the trail, whoever made it.
"""

import hashlib
import re
import secrets
from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django_scopes import scopes_disabled

from accounts.access import NotAllowed, require
from accounts.audit import record_event
from accounts.models import AccessToken, Person
from accounts.roles import Action, Role, allowed_actions

LONGEST_DAYS = 365
TOKEN_ROLES = (Role.OFFICE, Role.TECHNICIAN, Role.AUDITOR, Role.RENTAL_MANAGER)
# "Used" is written at most this often, so that reading through the API does not write each time.
USED_EVERY = timedelta(minutes=5)
_SHAPE = re.compile(r"runnel_[A-Za-z0-9_-]{43}")
_SHOWN = len("runnel_") + 6


@transaction.atomic
def make_token(
    *, name: str, role: str, days: int, by: Person, manager: Person | None = None
) -> tuple[AccessToken, str]:
    """A new token with its secret, which is shown this once and kept nowhere.

    role     One of TOKEN_ROLES.
    days     How long it is good for, 1 to 365.
    manager  The rental manager it acts for; needed with that role, and only then. All other tokens
             act for ``by``.

    Raises NotAllowed; ValidationError by field.
    """
    require(by, Action.MANAGE_TOKENS)
    _check(role, days, by, manager)
    secret = f"runnel_{secrets.token_urlsafe(32)}"
    now = timezone.now()
    token = AccessToken(
        organisation=by.organisation,
        name=name.strip(),
        role=role,
        acts_for=manager or by,
        made_by=by,
        prefix=secret[:_SHOWN],
        secret_digest=_digest(secret),
        created_at=now,
        expires_at=now + timedelta(days=days),
    )
    token.full_clean()
    token.save()
    detail = {"role": role, "days": days, "acts_for": str(token.acts_for_id)}
    record_event(action="token.made", subject=token, by=by, detail=detail)
    return token, secret


@transaction.atomic
def withdraw_token(*, token: AccessToken, by: Person) -> None:
    """Make a token useless, from now. Withdrawing twice keeps the first time. Raises NotAllowed."""
    require(by, Action.MANAGE_TOKENS)
    if token.organisation_id != by.organisation_id:
        raise NotAllowed(Action.MANAGE_TOKENS)
    if AccessToken.objects.filter(pk=token.pk, withdrawn_at=None).update(withdrawn_at=timezone.now()):
        record_event(action="token.withdrawn", subject=token, by=by)


def find_token(secret: str) -> AccessToken | None:
    """The token of a secret, with its people and firm loaded; None when it no longer works.

    It stops working when it is withdrawn or too old, or when the account of the person it acts for,
    or of the one who made it, is closed. A query over all firms: who holds the secret names no firm.
    """
    if not _SHAPE.fullmatch(secret):
        return None
    with scopes_disabled():
        return (
            AccessToken.objects.filter(
                secret_digest=_digest(secret),
                withdrawn_at=None,
                expires_at__gt=timezone.now(),
                acts_for__is_active=True,
                made_by__is_active=True,
            )
            .select_related("acts_for__organisation", "organisation")
            .first()
        )


def acting_through(token: AccessToken) -> Person:
    """The person the token acts for, in this request able to do no more than the token's role may.

    Asks once for the roles that the person holds by now.
    """
    person = token.acts_for
    held = person.actions
    person.roles = frozenset({token.role})
    person.actions = allowed_actions(person.roles) & held
    person.access_token = token
    return person


def mark_used(token: AccessToken, now: datetime) -> None:
    """Note that the token is in use, at most every five minutes. Needs no scope."""
    if token.last_used_at is not None and now - token.last_used_at < USED_EVERY:
        return
    with scopes_disabled():
        stale = Q(last_used_at=None) | Q(last_used_at__lt=now - USED_EVERY)
        AccessToken.objects.filter(stale, pk=token.pk).update(last_used_at=now)


def _check(role: str, days: int, by: Person, manager: Person | None) -> None:
    errors = {}
    if role not in TOKEN_ROLES:
        errors["role"] = "Choose the role of the token from the list."
    elif role == Role.RENTAL_MANAGER:
        if manager is None:
            errors["manager"] = "Choose the rental manager whose clients the token sees."
        elif not _is_managing_here(manager, by):
            errors["manager"] = "This is not a rental manager of your firm."
    elif manager is not None:
        errors["manager"] = "Only a token with the role of a rental manager acts for one."
    elif not allowed_actions([role]) <= by.actions:
        errors["role"] = "A token cannot do more than you may yourself."
    if not 1 <= days <= LONGEST_DAYS:
        errors["days"] = f"A token is good for 1 to {LONGEST_DAYS} days."
    if errors:
        raise ValidationError(errors)


def _is_managing_here(manager: Person, by: Person) -> bool:
    same_firm = manager.organisation_id == by.organisation_id
    return same_firm and manager.is_active and Role.RENTAL_MANAGER in manager.roles


def _digest(secret: str) -> str:
    """The secret has 256 bits of chance, so a plain digest cannot be reversed by trying."""
    return hashlib.sha256(secret.encode()).hexdigest()
