"""What every page's frame needs: who is signed in and where they may go."""

from typing import Any

from django.http import HttpRequest

from service.shell.navigation import places_for


def shell(request: HttpRequest) -> dict[str, Any]:
    person = getattr(request, "user", None)
    if person is None or not person.is_authenticated:
        return {"places": []}
    return {"places": places_for(person), "organisation": person.organisation}
