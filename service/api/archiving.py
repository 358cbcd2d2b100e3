"""Taking a client, a site or a spa out of use, and bringing it back: one pair of operations for each."""

from collections.abc import Callable
from typing import Any, ClassVar
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Person
from service.api.asking import EDIT
from service.api.once import once
from service.api.strict import Nothing, Shown
from service.api.view import ApiView
from service.sites.archive import archive, restore

Place = Any
"""A client, a site or a spa."""


def archiving(
    kind: str, shown: type[Shown], find: Callable[[Person, UUID], Place]
) -> tuple[type[ApiView], type[ApiView]]:
    """The operations ``archive_<kind>`` and ``restore_<kind>``.

    find  The place that the person may see. Raises Http404.
    """
    return (
        _operation(f"archive_{kind}", archive, shown, find),
        _operation(f"restore_{kind}", restore, shown, find),
    )


def _operation(
    name: str,
    use_case: Callable[..., Any],
    shape: type[Shown],
    find: Callable[[Person, UUID], Place],
) -> type[ApiView]:
    class Operation(ApiView):
        actions: ClassVar = {"POST": EDIT}

        @extend_schema(operation_id=name, request=Nothing, responses=shape)
        @once
        def post(self, request: Request, pk: UUID) -> Response:
            place = find(self.person, pk)
            self.body(Nothing)
            use_case(place=place, by=self.person)
            return Response(self.shown(shape, find(self.person, pk)))

    return Operation
