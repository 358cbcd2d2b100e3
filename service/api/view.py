"""What every address of the API shares: who asks, in which firm, what may be asked, how it is answered."""

import re
from collections.abc import Iterable, Mapping
from contextlib import ExitStack
from typing import Any, ClassVar, TypeVar

from django.conf import settings
from django.db.models import Model, QuerySet
from django.http import HttpResponseBase
from django.urls import reverse
from django_scopes import scope
from rest_framework.exceptions import AuthenticationFailed, NotAuthenticated, ValidationError
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from accounts.models import Person
from accounts.roles import Action
from service.api.limits import BODY_MAX_BYTES
from service.api.paging import BY_KEY, Listed, Order, page_of
from service.api.permissions import IsSomebody, MayUse
from service.api.problems import TooLarge
from service.api.strict import UNKNOWN, Given, PageQuery, Shown
from service.api.throttling import Refusals

Row = TypeVar("Row", bound=Model)
_REVISION = re.compile(r'(?:W/)?"?(\d{1,9})"?')
_PLAIN = "Use https. Withdraw this token: it was sent where others can read it."


class ApiView(APIView):
    """An address. Its firm is in scope from the moment that the token is known until the answer is made.

    actions  Method -> the actions of which a token must be able to do one.
    query    The names that the address takes after ``?``; none when it is left out.
    """

    http_method_names = ["get", "head", "post", "patch"]
    permission_classes = [IsSomebody, MayUse]
    actions: ClassVar[Mapping[str, tuple[Action, ...]]] = {}
    query: ClassVar[type[Given] | None] = None
    pagination_class = Listed

    def dispatch(self, request: Any, *args: Any, **kwargs: Any) -> HttpResponseBase:
        with ExitStack() as self.firm:
            answer = super().dispatch(request, *args, **kwargs)
            answer["Cache-Control"] = "private, no-store"
            return answer

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        if settings.SECURE_SSL_REDIRECT and not request.is_secure():
            raise ValidationError(_PLAIN)
        super().initial(request, *args, **kwargs)
        self.firm.enter_context(scope(organisation=self.person.organisation))
        self.asked = self._asked(request)
        _read_whole(request)

    def perform_authentication(self, request: Request) -> None:
        try:
            super().perform_authentication(request)
            if not isinstance(request.user, Person):
                raise NotAuthenticated("Send an access token: Authorization: Bearer …")
        except (AuthenticationFailed, NotAuthenticated):
            Refusals().count(request)
            raise

    @property
    def person(self) -> Person:
        """Whom the token acts for, as far as its role goes."""
        person: Any = self.request.user
        assert isinstance(person, Person)
        return person

    def _asked(self, request: Request) -> dict[str, Any]:
        """What stands after ``?``, read. Raises ValidationError by name."""
        lists = dict(request.query_params.lists())
        if twice := sorted(name for name, values in lists.items() if len(values) > 1):
            raise ValidationError({name: ["Give this once."] for name in twice})
        given = {name: values[0] for name, values in lists.items()}
        is_read = request.method in ("GET", "HEAD")
        if self.query is None or not is_read:
            if given:
                raise ValidationError({name[:100]: [UNKNOWN] for name in sorted(given)})
            return {}
        return self._valid(self.query, given)

    def body(self, shape: type[Given] | Any, **how: Any) -> dict[str, Any]:
        """The body, read by ``shape``. Raises ValidationError by field."""
        return self._valid(shape, self.request.data, **how)

    def _valid(self, shape: Any, given: Any, **how: Any) -> dict[str, Any]:
        read = shape(data=given, context={"person": self.person}, **how)
        read.is_valid(raise_exception=True)
        valid: dict[str, Any] = read.validated_data
        return valid

    def shown(self, shape: type[Shown] | Any, row: Any, **how: Any) -> Any:
        """A row, or rows, as this token may see them."""
        return shape(row, context={"person": self.person, **how.pop("context", {})}, **how).data

    def page(self, rows: QuerySet[Row], shape: type[Shown], *, order: Order = BY_KEY) -> Response:
        """One page of ``rows``."""
        assert self.query is not None
        assert issubclass(self.query, PageQuery)
        found = page_of(rows, order=order, cursor=self.asked.get("cursor", ""), limit=self.asked["limit"])
        return Response(listed(self.shown(shape, found.rows, many=True), found.next))

    def made(self, shape: type[Shown], row: Model, url_name: str) -> Response:
        """201 with the new row and its address."""
        url = reverse(url_name, args=[row.pk])
        return Response(self.shown(shape, row), status=201, headers={"Location": url})

    def revision(self, body: Mapping[str, Any], *, needed: bool = True) -> int | None:
        """The revision that the program saw: ``If-Match``, or ``revision`` in the body.

        Raises ValidationError when it is needed and neither is there, or when they differ.
        """
        header = self.request.headers.get("If-Match")
        inside: int | None = body.get("revision")
        if header is None:
            if inside is None and needed:
                raise ValidationError({"revision": ["Say which revision you saw, here or in If-Match."]})
            return inside
        match = _REVISION.fullmatch(header.strip())
        if match is None:
            raise ValidationError({"If-Match": ['This is not a revision, such as "7".']})
        if inside is not None and inside != int(match[1]):
            raise ValidationError({"If-Match": ["This is not the revision in the body."]})
        return int(match[1])


def _read_whole(request: Request) -> None:
    """Keep the body's bytes, so that a write can be told from another one. Raises TooLarge."""
    if int(request.META.get("CONTENT_LENGTH") or 0) > BODY_MAX_BYTES:
        raise TooLarge(f"A body has at most {BODY_MAX_BYTES // 1024} KB.")
    request._request.body  # noqa: B018


def listed(items: Iterable[Any], following: str = "") -> dict[str, Any]:
    """A list as it is sent."""
    return {"items": list(items), "next": following or None}


def with_revision(response: Response, revision: int) -> Response:
    """The answer with the revision as its entity tag (RFC 9110, section 8.8.3)."""
    response["ETag"] = f'"{revision}"'
    return response
