"""The one shape of everything that is not an answer: problem details (RFC 9457).

``errors`` names each field that is wrong, by its place in the body ("readings.0.value"), in the
query or among the headers; an empty ``field`` is about the request as a whole.
"""

import logging
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import PermissionDenied
from django.core.exceptions import ValidationError as ModelError
from django.http import Http404
from rest_framework import exceptions
from rest_framework.response import Response

from accounts.access import NotAllowed
from service.visits.editing import Changed, Refused

MEDIA_TYPE = "application/problem+json"
# Where the guide explains each type of problem.
_EXPLAINED = "/api/v1/#problem-"
logger = logging.getLogger(__name__)

TITLES = {
    "invalid": (400, "The request is not valid"),
    "no-token": (401, "A working access token is needed"),
    "not-found": (404, "There is nothing here for this token"),
    "wrong-method": (405, "This address does not take this method"),
    "not-acceptable": (406, "This address cannot answer in the form asked for"),
    "refused": (409, "It cannot be done now"),
    "changed": (409, "Somebody changed it meanwhile"),
    "too-large": (413, "The body is too large"),
    "wrong-media-type": (415, "The body must be JSON"),
    "key-reused": (422, "This idempotency key belongs to another request"),
    "too-many": (429, "Too many requests"),
    "failed": (500, "Something went wrong here"),
}


class TooLarge(exceptions.APIException):
    status_code = 413


class KeyReused(exceptions.APIException):
    status_code = 422


class StillRunning(exceptions.APIException):
    status_code = 409


@dataclass(frozen=True)
class Problem:
    """What is told. errors: (field, message) each. more: members of this type of problem alone."""

    kind: str
    detail: str
    errors: tuple[tuple[str, str], ...] = ()
    more: Mapping[str, Any] = field(default_factory=dict)

    @property
    def status(self) -> int:
        return TITLES[self.kind][0]

    def content(self) -> dict[str, Any]:
        """As it is sent."""
        return {
            "type": f"{_EXPLAINED}{self.kind}",
            "title": TITLES[self.kind][1],
            "status": self.status,
            "detail": self.detail,
            "errors": [{"field": name, "message": message} for name, message in self.errors],
            **self.more,
        }


def answer_with_problem(error: Exception, context: Mapping[str, Any]) -> Response:
    """The answer to any exception of a view: the one place where each of them gets its status."""
    problem = _problem(error)
    if problem.status >= 500:
        logger.error("The API failed", exc_info=error)
    headers = {}
    if header := getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = header
    if wait := getattr(error, "wait", None):
        headers["Retry-After"] = str(int(wait))
    response = Response(problem.content(), problem.status, headers=headers, content_type=MEDIA_TYPE)
    response.exception = True
    return response


def _problem(error: Exception) -> Problem:
    if isinstance(error, Changed):
        return _changed(error)
    if isinstance(error, Refused):
        return Problem("refused", str(error))
    if isinstance(error, ModelError):
        return _invalid(tuple(_of_the_model(error)))
    if isinstance(error, exceptions.ValidationError):
        return _invalid(tuple(_of_the_shape(error.detail)))
    if isinstance(error, exceptions.ParseError):
        return _invalid((("", str(error.detail)),))
    if isinstance(error, Http404 | PermissionDenied | NotAllowed | exceptions.PermissionDenied):
        return Problem("not-found", "Nothing is at this address, or the token may not reach it.")
    return _of_the_protocol(error)


def _of_the_protocol(error: Exception) -> Problem:
    kinds: tuple[tuple[type[Exception], str], ...] = (
        (exceptions.NotAuthenticated, "no-token"),
        (exceptions.AuthenticationFailed, "no-token"),
        (exceptions.NotFound, "not-found"),
        (exceptions.MethodNotAllowed, "wrong-method"),
        (exceptions.NotAcceptable, "not-acceptable"),
        (exceptions.UnsupportedMediaType, "wrong-media-type"),
        (exceptions.Throttled, "too-many"),
        (TooLarge, "too-large"),
        (KeyReused, "key-reused"),
        (StillRunning, "refused"),
    )
    for kind, name in kinds:
        if isinstance(error, kind):
            return Problem(name, str(getattr(error, "detail", "")))
    return Problem("failed", "It was written down and nothing was saved. Try again later.")


def _invalid(errors: tuple[tuple[str, str], ...]) -> Problem:
    detail = " ".join(f"{name}: {message}" if name else message for name, message in errors[:3])
    return Problem("invalid", detail, errors)


def _changed(error: Changed) -> Problem:
    changes = [
        {"at": change.at.isoformat(), "by": change.by, "what": change.what} for change in error.changes
    ]
    return Problem("changed", str(error), more={"revision": error.revision, "changes": changes})


def _of_the_model(error: ModelError) -> Iterator[tuple[str, str]]:
    by_field = error.message_dict if hasattr(error, "error_dict") else {"": error.messages}
    for name, messages in by_field.items():
        for message in messages:
            yield "" if name == "__all__" else name, message


def _of_the_shape(detail: Any, at: str = "") -> Iterator[tuple[str, str]]:
    """The errors of a serializer, each with its place: {"readings": [{}, {"value": […]}]}."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            inside = at if name == "non_field_errors" else f"{at}.{name}".lstrip(".")
            yield from _of_the_shape(inner, inside)
    elif isinstance(detail, list | tuple):
        for place, inner in enumerate(detail):
            is_row = isinstance(inner, Mapping | list | tuple)
            yield from _of_the_shape(inner, f"{at}.{place}".lstrip(".") if is_row else at)
    else:
        yield at, str(detail)
