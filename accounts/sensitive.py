"""Two gates of sensitive pages, from the sign-in library: say again who you are, and not too often."""

from collections.abc import Callable
from typing import ParamSpec

from allauth.account.decorators import reauthentication_required
from allauth.decorators import rate_limit

from accounts.access import View
from accounts.limits import LIMITS

P = ParamSpec("P")


def confirmed(view: View[P]) -> View[P]:
    """The page opens only within half an hour of confirming with password, code or passkey.

    Stands under ``page_for``: what is not a person's does not ask them who they are.
    """
    gated: View[P] = reauthentication_required(view)
    return gated


def limited(action: str) -> Callable[[View[P]], View[P]]:
    """Forms sent to the page count against ``LIMITS[action]``; one too many answers 429."""
    if action not in LIMITS:
        raise KeyError(action)

    def decorate(view: View[P]) -> View[P]:
        gated: View[P] = rate_limit(action=action)(view)
        return gated

    return decorate
