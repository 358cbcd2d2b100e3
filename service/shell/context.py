"""What every page's frame needs: who is signed in, where they may go, and where they are."""

from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from accounts.models import Person
from service.shell.navigation import places_for


def shell(request: HttpRequest) -> dict[str, Any]:
    person = getattr(request, "user", None)
    if person is None or not person.is_authenticated:
        return {"places": []}
    return {"places": _linked(person, request.path), "organisation": person.organisation}


def _linked(person: Person, path: str) -> list[dict[str, Any]]:
    """Each place with its address; the one whose address begins ``path``, the longest, is here."""
    places = []
    for place in places_for(person):
        try:
            places.append({"name": place.name, "url": reverse(place.url_name), "here": False})
        except NoReverseMatch:
            continue
    above = [place for place in places if path.startswith(place["url"])]
    if above:
        max(above, key=lambda place: len(place["url"]))["here"] = True
    return places
