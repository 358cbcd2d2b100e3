"""Who is asking: an access token in the ``Authorization`` header (RFC 6750, section 2.1), and nothing else.

A browser's session is no way in, so that no other site can have a signed-in browser write here.
"""

from django.utils import timezone
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from accounts.models import AccessToken, Person
from accounts.tokens import acting_through, find_token, mark_used

SCHEME = "Bearer"


class BearerToken(BaseAuthentication):
    """The token's person, able to do no more than the token's role may, and the token itself."""

    def authenticate(self, request: Request) -> tuple[Person, AccessToken] | None:
        """None without a header. Raises AuthenticationFailed, the same for any token that does not work."""
        scheme, _, secret = request.META.get("HTTP_AUTHORIZATION", "").partition(" ")
        if not scheme:
            return None
        token = find_token(secret.strip()) if scheme.lower() == SCHEME.lower() else None
        if token is None:
            raise AuthenticationFailed(
                "The token is not known, expired or withdrawn. Ask the firm for a new one."
            )
        mark_used(token, timezone.now())
        return acting_through(token), token

    def authenticate_header(self, request: Request) -> str:
        return SCHEME


class SignedInReader(BaseAuthentication):
    """A person who is signed in, for an address that only describes the API."""

    def authenticate(self, request: Request) -> tuple[Person, None] | None:
        person = getattr(request._request, "user", None)
        return (person, None) if isinstance(person, Person) and person.is_active else None
