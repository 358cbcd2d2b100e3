"""Which tokens may use an address at all; what they see there is for the rows' own doors."""

from typing import Any

from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from accounts.models import Person


class IsSomebody(BasePermission):
    """Nothing is open to nobody."""

    def has_permission(self, request: Request, view: Any) -> bool:
        return isinstance(request.user, Person)


class MayUse(BasePermission):
    """The token may do one of the actions that the view names for the method."""

    def has_permission(self, request: Request, view: Any) -> bool:
        method = "GET" if request.method == "HEAD" else str(request.method)
        actions = view.actions.get(method)
        person: Any = request.user
        return actions is None or any(person.may(action) for action in actions)
