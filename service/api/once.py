"""A write is done once, however often it is sent: the ``Idempotency-Key`` header.

The behaviour follows the IETF draft "The Idempotency-Key HTTP Header Field" (httpapi working group,
draft 07, section 2.7): without a key that is asked for 400, a key with another request 422, a request
still at work 409, else the first answer again.
"""

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

from django.db import IntegrityError, transaction
from django.db.models import F
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from django_scopes import scopes_disabled
from rest_framework.exceptions import ValidationError
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import AccessToken
from service.api.limits import KEY_KEPT, KEY_LONGEST, KEY_STALE
from service.api.models import KeptAnswer
from service.api.problems import KeyReused, StillRunning
from service.api.view import ApiView

HEADER = "Idempotency-Key"
REPLAYED = "Idempotency-Replayed"
_KEPT_HEADERS = ("Content-Type", "Location", "ETag")
_SHAPE = re.compile(rf"[\x21-\x7e]{{1,{KEY_LONGEST}}}")

P = ParamSpec("P")
V = TypeVar("V", bound=ApiView)
Write = Callable[Concatenate[V, Request, P], Response]


@dataclass(frozen=True)
class Claim:
    """The right to do a write and to answer it."""

    kept: KeptAnswer
    attempt: int

    @property
    def _mine(self) -> Any:
        return KeptAnswer.objects.filter(pk=self.kept.pk, attempt=self.attempt, status=None)

    def keep(self, response: Response) -> None:
        """Keep the answer. Raises StillRunning when another process took the write up meanwhile."""
        body = JSONRenderer().render(response.data).decode()
        content_type = response.content_type or JSONRenderer.media_type
        headers = {name: response[name] for name in _KEPT_HEADERS if response.has_header(name)}
        headers["Content-Type"] = content_type
        if not self._mine.update(status=response.status_code, body=body, headers=headers):
            raise StillRunning("The same request is at work in another process. Ask again in a moment.")

    def give_back(self) -> None:
        """Nothing was done: the key may be used again."""
        self._mine.delete()


def once(write: Write[V, P]) -> Callable[Concatenate[V, Request, P], HttpResponseBase]:
    """A writing method that is done once for each key. POST needs a key; PATCH may have one."""

    @wraps(write)
    def guarded(view: V, request: Request, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
        key = _key_of(request)
        if not key:
            with transaction.atomic():
                return write(view, request, *args, **kwargs)
        # Read whole, and refused if it cannot be, before anything is kept of it.
        request.data  # noqa: B018
        claim = _claim(request, key)
        if isinstance(claim, HttpResponse):
            return claim
        return _done(view, request, claim, lambda: write(view, request, *args, **kwargs))

    return guarded


def sweep_kept_answers(now: datetime) -> int:
    """Forget what was kept for longer than a day, of every firm. Returns how many."""
    with scopes_disabled():
        return KeptAnswer.objects.filter(asked_at__lt=now - KEY_KEPT).delete()[0]


def _done(view: ApiView, request: Request, claim: Claim, act: Callable[[], Response]) -> HttpResponseBase:
    try:
        with transaction.atomic():
            response = act()
            claim.keep(response)
            return response
    except Exception as error:  # every refusal is an answer as well, and kept like one
        refusal = view.handle_exception(error)
    if refusal.status_code >= 500:
        claim.give_back()
    else:
        claim.keep(refusal)
    return refusal


def _key_of(request: Request) -> str:
    key = str(request.headers.get(HEADER, ""))
    if not key and request.method == "POST":
        message = "Send a key of your own with every POST, such as a UUID: the same one when you try again."
        raise ValidationError({HEADER: [message]})
    if key and not _SHAPE.fullmatch(key):
        message = f"A key has 1 to {KEY_LONGEST} plain characters without spaces."
        raise ValidationError({HEADER: [message]})
    return key


def _digest(request: Request) -> str:
    """Of what makes it the same request: method, address, condition and body."""
    parts = (
        str(request.method).encode(),
        request.get_full_path().encode(),
        request.headers.get("If-Match", "").encode(),
        request._request.body,
    )
    return hashlib.sha256(b"\n".join(hashlib.sha256(part).digest() for part in parts)).hexdigest()


def _claim(request: Request, key: str) -> Claim | HttpResponse:
    """The right to do it, or the answer of the first time. Raises KeyReused, StillRunning."""
    token: Any = request.auth
    assert isinstance(token, AccessToken)
    digest, now = _digest(request), timezone.now()
    KeptAnswer.objects.filter(asked_at__lt=now - KEY_KEPT).delete()
    try:
        with transaction.atomic():
            kept = KeptAnswer.objects.create(
                organisation_id=token.organisation_id, token=token, key=key, request_digest=digest
            )
        return Claim(kept, 1)
    except IntegrityError:
        return _of_the_first(token, key, digest, now)


def _of_the_first(token: AccessToken, key: str, digest: str, now: datetime) -> Claim | HttpResponse:
    kept = KeptAnswer.objects.filter(token=token, key=key).first()
    if kept is None:
        raise StillRunning("The same request was at work a moment ago. Send it again.")
    if kept.request_digest != digest:
        raise KeyReused("This key was sent with another request. Use a new key for a new request.")
    if kept.status is not None:
        return _again(kept)
    stale = KeptAnswer.objects.filter(pk=kept.pk, attempt=kept.attempt, status=None)
    if stale.filter(asked_at__lt=now - KEY_STALE).update(attempt=F("attempt") + 1, asked_at=now):
        return Claim(kept, kept.attempt + 1)
    raise StillRunning("The same request is still at work. Ask again in a moment.")


def _again(kept: KeptAnswer) -> HttpResponse:
    headers = {**kept.headers, REPLAYED: "true"}
    return HttpResponse(kept.body, status=kept.status, headers=headers)
