"""Refusing what a person may not do. A page that is not theirs answers as if it did not exist."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from django.http import Http404, HttpRequest, HttpResponseBase

from accounts.models import Person
from accounts.roles import Action

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]


class NotAllowed(Exception):  # noqa: N818
    """The person may not do this. Raised by use cases; pages answer 404."""

    def __init__(self, action: Action) -> None:
        super().__init__(f"You may not {action}.")
        self.action = action


def require(person: Person, action: Action) -> None:
    """Raise NotAllowed unless ``person`` may do ``action``. The first line of every use case that writes."""
    if not person.may(action):
        raise NotAllowed(action)


def page_for(*actions: Action) -> Callable[[View[P]], View[P]]:
    """A view for people who may do any of ``actions``; to everybody else it does not exist (404)."""

    def decorate(view: View[P]) -> View[P]:
        @wraps(view)
        def guarded(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            person = signed_in(request)
            if not any(person.may(action) for action in actions):
                raise Http404
            try:
                return view(request, *args, **kwargs)
            except NotAllowed as refusal:
                raise Http404 from refusal

        guarded.page_actions = actions  # type: ignore[attr-defined]
        return guarded

    return decorate


def signed_in(request: HttpRequest) -> Person:
    """The signed-in person of a request that has passed LoginRequiredMiddleware."""
    person: Any = request.user
    assert isinstance(person, Person)
    return person
