"""Opens the signed-in person's organisation for the time of one request."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django_scopes import scope


class OrganisationScopeMiddleware:
    """Every query of a page sees one firm. Without a signed-in person nothing is open: a query raises."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not request.user.is_authenticated:
            return self.get_response(request)
        with scope(organisation=request.user.organisation):
            return self.get_response(request)
