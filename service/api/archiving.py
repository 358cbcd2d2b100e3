"""Taking a row of the register or the stock out of use, and bringing it back: a pair of operations each."""

from collections.abc import Callable
from typing import Any, ClassVar
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Person
from accounts.roles import Action
from service.api.asking import EDIT
from service.api.once import once
from service.api.strict import Nothing, Shown
from service.api.view import ApiView
from service.sites.archive import archive, restore

UseCase = Callable[[Any, Person], Any]
PLACES: tuple[UseCase, UseCase] = (
    lambda place, by: archive(place=place, by=by),
    lambda place, by: restore(place=place, by=by),
)


def archiving(
    kind: str,
    shown: type[Shown],
    find: Callable[[Person, UUID], Any],
    *,
    use_cases: tuple[UseCase, UseCase] = PLACES,
    actions: tuple[Action, ...] = EDIT,
) -> tuple[type[ApiView], type[ApiView]]:
    """The operations ``archive_<kind>`` and ``restore_<kind>``.

    find       The row that the person may see. Raises Http404.
    use_cases  What takes it out of use, and what brings it back.
    actions    What the person must be allowed to do.
    """
    out_of_use, into_use = use_cases
    return (
        _operation(f"archive_{kind}", out_of_use, shown, find, actions),
        _operation(f"restore_{kind}", into_use, shown, find, actions),
    )


def _operation(
    name: str,
    use_case: UseCase,
    shape: type[Shown],
    find: Callable[[Person, UUID], Any],
    may: tuple[Action, ...],
) -> type[ApiView]:
    class Operation(ApiView):
        actions: ClassVar = {"POST": may}

        @extend_schema(operation_id=name, request=Nothing, responses=shape)
        @once
        def post(self, request: Request, pk: UUID) -> Response:
            row = find(self.person, pk)
            self.body(Nothing)
            use_case(row, self.person)
            return Response(self.shown(shape, find(self.person, pk)))

    return Operation
