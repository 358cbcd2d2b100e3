"""What every page's frame needs: who is signed in, where they may go, and where they are."""

from dataclasses import dataclass, replace
from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from accounts.models import Person
from service.shell.navigation import places_for


@dataclass(frozen=True)
class Link:
    """A place with its address; ``here`` when the page shown is it or below it."""

    name: str
    url: str
    here: bool = False


def shell(request: HttpRequest) -> dict[str, Any]:
    person = getattr(request, "user", None)
    if person is None or not person.is_authenticated:
        return {"places": []}
    return {"places": _links(person, request.path), "organisation": person.organisation}


def _links(person: Person, path: str) -> list[Link]:
    """The person's places; of those whose address begins ``path`` the longest is here."""
    links = [Link(place.name, reverse(place.url_name)) for place in places_for(person)]
    above = max(
        (link for link in links if path.startswith(link.url)), key=lambda link: len(link.url), default=None
    )
    return [replace(link, here=link == above) for link in links]
