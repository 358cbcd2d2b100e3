"""Changing the e-mail address one signs in with: confirmed from the new mailbox, told to the old one."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from functools import partial

from allauth.account.models import EmailAddress
from django.core import signing
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.core.validators import validate_email
from django.db import transaction
from django.template.loader import render_to_string
from django_scopes import scope

from accounts.audit import record_event
from accounts.models import Person
from accounts.sessions import drop_sessions

GOOD_FOR = timedelta(hours=24)
_SALT = "accounts.email_change"


class LinkGone(Exception):  # noqa: N818
    """The link is too old, was used, or is not ours."""


@dataclass(frozen=True)
class EmailChange:
    """What a link stands for. It works once: afterwards the person's address is no longer ``was``."""

    person: Person
    was: str
    becomes: str


def ask_email_change(*, person: Person, email: str, link: Callable[[str], str]) -> None:
    """Send a link to the new address. Nothing changes before it is opened.

    link  Token -> the whole address of the page that confirms it.

    Raises ValidationError for ``email``. Whether somebody uses the address already is not said here.
    """
    wanted = email.strip().lower()
    try:
        validate_email(wanted)
    except ValidationError as error:
        raise ValidationError({"email": error.messages}) from error
    if wanted == person.email:
        raise ValidationError({"email": "This is the address you sign in with now."})
    token = signing.dumps({"person": str(person.pk), "was": person.email, "becomes": wanted}, salt=_SALT)
    _mail("email_confirm.txt", "Confirm your new address", wanted, {"person": person, "link": link(token)})


def read_link(token: str) -> EmailChange:
    """The change that a link stands for. Raises LinkGone."""
    try:
        stored = signing.loads(token, salt=_SALT, max_age=GOOD_FOR)
        person = Person.objects.select_related("organisation").get(pk=stored["person"], is_active=True)
    except (signing.BadSignature, Person.DoesNotExist) as error:
        raise LinkGone from error
    if person.email != stored["was"]:
        raise LinkGone
    return EmailChange(person, stored["was"], stored["becomes"])


def confirm_email_change(change: EmailChange) -> None:
    """Sign in with the new address from now on; every session ends and the old address is told.

    Raises LinkGone when it was used meanwhile; ValidationError when the address is taken.
    """
    # Whoever opens the link need not be signed in, so the firm's scope is opened here.
    with scope(organisation=change.person.organisation), transaction.atomic():
        _change(change)


def _change(change: EmailChange) -> None:
    if Person.objects.filter(email=change.becomes).exists():
        raise ValidationError("Somebody signs in with this address already. Choose another one.")
    if not Person.objects.filter(pk=change.person.pk, email=change.was).update(email=change.becomes):
        raise LinkGone
    EmailAddress.objects.filter(user=change.person).delete()
    drop_sessions(change.person)
    record_event(action="person.email_changed", subject=change.person, by=change.person)
    words = {"person": change.person}
    transaction.on_commit(partial(_mail, "email_changed.txt", "Your address was changed", change.was, words))


def _mail(template: str, subject: str, to: str, words: Mapping[str, object]) -> None:
    words = {**words, "hours": int(GOOD_FOR.total_seconds() // 3600)}
    body = render_to_string(f"accounts/mail/{template}", words)
    send_mail(subject=subject, message=body, from_email=None, recipient_list=[to])
