"""The guide to the API, for people: how to get a token, how to ask, what each address does."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.api import limits
from service.api.problems import TITLES
from service.api.schema import description


@dataclass(frozen=True)
class Operation:
    method: str
    path: str
    does: str


_ABOUT = {
    "clients": "Clients",
    "sites": "Sites",
    "spas": "Spas",
    "fitness": "Fitness now",
    "products": "Products",
    "batches": "Batches",
    "instruments": "Instruments",
    "agreements": "Agreements",
    "bookings": "Guests' bookings",
    "weeks": "Published weeks",
    "visits": "Visits",
    "closures": "Closures",
    "defects": "Defects",
    "records": "Records",
    "schema": "The description",
}


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def guide(request: HttpRequest) -> HttpResponse:
    context = {
        "groups": _groups(description()),
        "problems": [(kind, status, title) for kind, (status, title) in TITLES.items()],
        "limits": limits,
        "body_kb": limits.BODY_MAX_BYTES // 1024,
        "kept_hours": int(limits.KEY_KEPT.total_seconds() // 3600),
        "may_make": signed_in(request).may(Action.MANAGE_TOKENS),
        "root": request.build_absolute_uri("/api/v1/"),
    }
    return render(request, "api/guide.html", context)


def _groups(schema: dict[str, Any]) -> list[tuple[str, list[Operation]]]:
    """The operations by what they are about, in the order of the work."""
    groups: dict[str, list[Operation]] = {name: [] for name in _ABOUT}
    for path, methods in schema["paths"].items():
        for method, operation in methods.items():
            name = path.removeprefix("/api/v1/").split("/")[0]
            does = operation["operationId"].replace("_", " ")
            groups[name].append(Operation(method.upper(), path, does))
    return [(_ABOUT[name], operations) for name, operations in groups.items()]
