"""Making, ending and opening the secret link to a technician's rounds."""

import hashlib
import hmac
import secrets
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django_scopes import scopes_disabled

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action
from service.rounds.models import RoundCalendarLink


@transaction.atomic
def make_calendar_link(*, by: Person) -> tuple[RoundCalendarLink, str]:
    """A new link to one's own rounds, and its secret, which is shown once. An older link ends.

    Raises NotAllowed.
    """
    require(by, Action.CARRY_OUT_VISITS)
    # Two taps at once: the second waits, and ends what the first made.
    Person.objects.select_for_update().get(pk=by.pk)
    _end_live(by)
    secret = secrets.token_urlsafe(32)
    link = RoundCalendarLink.objects.create(
        organisation=by.organisation, person=by, secret_digest=_digest(secret)
    )
    record_event(action="round_calendar.made", subject=link, by=by)
    return link, secret


@transaction.atomic
def revoke_calendar_link(*, by: Person) -> bool:
    """End one's link; a calendar that has it reads nothing any more. False when there was none.

    Raises NotAllowed.
    """
    require(by, Action.CARRY_OUT_VISITS)
    return _end_live(by)


def live_link(person: Person) -> RoundCalendarLink | None:
    """The link that works now."""
    return RoundCalendarLink.objects.filter(person=person, revoked_at=None).first()


def person_behind(key: UUID, secret: str) -> Person | None:
    """Whose rounds a link opens; None for a wrong secret, a link that was ended, somebody who left."""
    with scopes_disabled():
        links = RoundCalendarLink.objects.select_related("person__organisation")
        link = links.filter(pk=key, revoked_at=None).first()
    known = link.secret_digest if link else _digest("")
    fits = hmac.compare_digest(known, _digest(secret))
    if link is None or not fits:
        return None
    person = link.person
    return person if person.is_active and person.may(Action.CARRY_OUT_VISITS) else None


def _end_live(person: Person) -> bool:
    link = live_link(person)
    if link is None:
        return False
    link.revoked_at = timezone.now()
    link.save(update_fields=["revoked_at"])
    record_event(action="round_calendar.revoked", subject=link, by=person)
    return True


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
