"""How long somebody stays signed in, and ending it.

Ages: signed out after 3 hours without use and 12 hours after signing in, whatever is done (OWASP ASVS
5.0.0, 7.3.1 and 7.3.2 ask for both and leave the numbers to the risk). A technician's day fits into
one sign-in with its breaks.
"""

from datetime import datetime, timedelta

from allauth.usersessions.models import UserSession
from django.contrib.auth import update_session_auth_hash
from django.contrib.sessions.backends.base import SessionBase
from django.db import transaction
from django.db.models import F
from django.http import HttpRequest

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action

IDLE = timedelta(hours=3)
LONGEST = timedelta(hours=12)
# "Seen" is written at most this often, so that reading pages does not write to the database.
SEEN_EVERY = timedelta(minutes=5)
_STARTED, _SEEN = "signed_in_at", "seen_at"


@transaction.atomic
def end_sessions(*, person: Person, by: Person) -> None:
    """Sign ``person`` out everywhere, at once. Anybody may end their own. Raises NotAllowed."""
    if person.pk != by.pk:
        require(by, Action.MANAGE_PEOPLE)
    drop_sessions(person)
    record_event(action="person.sessions_ended", subject=person, by=by)


def drop_sessions(person: Person) -> None:
    """End every session of ``person``; part of a use case that has checked and records the reason.

    The number is part of what a session is checked against, so that no session survives, listed or not.
    """
    Person.objects.filter(pk=person.pk).update(session_serial=F("session_serial") + 1)
    person.refresh_from_db(fields=["session_serial"])
    UserSession.objects.filter(user=person).delete()


def end_other_sessions(request: HttpRequest, person: Person) -> None:
    """Sign ``person`` out everywhere but in this browser: after a second factor was changed.

    OWASP ASVS 5.0, 7.4.3, asks that other sessions can be ended after a factor was changed.
    """
    drop_sessions(person)
    update_session_auth_hash(request, person)
    UserSession.objects.create_from_request(request)


def has_ended(session: SessionBase, now: datetime) -> bool:
    """Whether the session is past an age. A session without a start is new."""
    started, seen = _moment(session, _STARTED), _moment(session, _SEEN)
    return (started is not None and now - started >= LONGEST) or (seen is not None and now - seen >= IDLE)


def mark_seen(session: SessionBase, now: datetime) -> bool:
    """Note that the session is in use; True when that has to be written, at most every five minutes."""
    if _moment(session, _STARTED) is None:
        session[_STARTED] = now.isoformat()
    seen = _moment(session, _SEEN)
    if seen is not None and now - seen < SEEN_EVERY:
        return False
    session[_SEEN] = now.isoformat()
    return True


def _moment(session: SessionBase, key: str) -> datetime | None:
    written = session.get(key)
    return datetime.fromisoformat(written) if written else None
