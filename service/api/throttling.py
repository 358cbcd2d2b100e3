"""How often a token may ask, and how often one address may come with a token that does not work."""

import time
from typing import Any

from django.core.cache import cache
from rest_framework.exceptions import Throttled
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from accounts.models import AccessToken
from service.api.limits import READS_A_MINUTE, REFUSED_A_MINUTE, WRITES_A_MINUTE

MINUTE = 60
READS = ("GET", "HEAD")


class PerToken(BaseThrottle):
    """So many reads and so many writes of one token in each minute of the clock."""

    def allow_request(self, request: Request, view: Any) -> bool:
        if not isinstance(request.auth, AccessToken):
            return True
        kind, most = ("reads", READS_A_MINUTE) if request.method in READS else ("writes", WRITES_A_MINUTE)
        return _count(f"api-{kind}:{request.auth.pk}") <= most

    def wait(self) -> float:
        return _until_the_next_minute()


class Refusals(BaseThrottle):
    """Counts what was refused by network address; ``NUM_PROXIES`` says which address is the visitor's."""

    def count(self, request: Request) -> None:
        """One more. Raises Throttled when it is one too many."""
        if _count(f"api-refused:{self.get_ident(request)}") > REFUSED_A_MINUTE:
            raise Throttled(_until_the_next_minute())


def _count(name: str) -> int:
    """How many it makes in this minute, with this one."""
    key = f"{name}:{int(time.time()) // MINUTE}"
    cache.add(key, 0, 2 * MINUTE)
    try:
        return cache.incr(key)
    except ValueError:
        # Dropped between the two lines.
        return 1


def _until_the_next_minute() -> float:
    return MINUTE - time.time() % MINUTE + 1
