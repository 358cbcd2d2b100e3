"""How the sign-in library fits in: invitation only, our words, secrets sealed, sign-ins on the trail."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.models import Authenticator
from django.http import HttpRequest
from django.utils import timezone
from django_scopes import scope

from accounts.audit import record_event
from accounts.models import Person
from accounts.sealed import seal, unseal
from accounts.sessions import end_other_sessions, mark_seen

_WAIT = "Too many tries. Wait a quarter of an hour, then try again; after 20 wrong tries in a day, tomorrow."


class InvitedOnly(DefaultAccountAdapter):
    """Closes open registration; ``accounts.invitations`` is the way in."""

    error_messages = DefaultAccountAdapter.error_messages | {
        "email_password_mismatch": "This e-mail address and password do not belong together.",
        "enter_current_password": "This is not your password now.",
        "incorrect_password": "This is not your password.",
        "incorrect_code": "This code is not right. Codes change every 30 seconds; take the newest.",
        "too_many_login_attempts": _WAIT,
        "rate_limited": _WAIT,
        "account_inactive": "This account was closed. Ask the owner of the firm.",
    }

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def login(self, request: HttpRequest, user: Person) -> None:
        super().login(request, user)
        mark_seen(request.session, timezone.now())
        _note("person.signed_in", user)

    def set_password(self, user: Person, password: str) -> None:
        super().set_password(user, password)
        _note("person.password_changed", user)


class SealedFactors(DefaultMFAAdapter):
    """Seals the secrets of second factors at rest, and keeps the last one where the firm asks for one."""

    error_messages = DefaultMFAAdapter.error_messages | {
        "incorrect_code": InvitedOnly.error_messages["incorrect_code"],
        "cannot_delete_authenticator": (
            "Your firm asks everybody for a second factor, and this is your only one. Add another one first."
        ),
    }

    def encrypt(self, text: str) -> str:
        return seal(text)

    def decrypt(self, encrypted_text: str) -> str:
        return unseal(encrypted_text)

    def can_delete_authenticator(self, authenticator: Authenticator) -> bool:
        person = authenticator.user
        if not person.organisation.require_second_factor:
            return True
        others = Authenticator.objects.filter(user=person).exclude(pk=authenticator.pk)
        return bool(others.exclude(type=Authenticator.Type.RECOVERY_CODES).exists())


def note_factor_added(request: HttpRequest, user: Person, authenticator: Authenticator, **_: Any) -> None:
    end_other_sessions(request, user)
    _note("person.factor_added", user, kind=authenticator.type)


def note_factor_removed(request: HttpRequest, user: Person, authenticator: Authenticator, **_: Any) -> None:
    end_other_sessions(request, user)
    _note("person.factor_removed", user, kind=authenticator.type)


def note_codes_renewed(request: HttpRequest, user: Person, **_: Any) -> None:
    end_other_sessions(request, user)
    _note("person.codes_renewed", user)


def _note(action: str, person: Person, **detail: str) -> None:
    # Signing in happens before the middleware could open the firm's scope.
    with scope(organisation=person.organisation):
        record_event(action=action, subject=person, by=person, detail=detail)
