"""Every address, seen by every role, with one's own object, a colleague's client's and another firm's.

The addresses come from the resolver: one that the table does not name fails.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django_scopes import scopes_disabled

from accounts.models import AuditEvent
from accounts.roles import Role
from tests.isolation.addresses import ADDRESSES, Address
from tests.isolation.world import World, make_world

SEES_A_PART = Role.RENTAL_MANAGER
NOT_THERE = 404
# What a session opens; what a token opens is walked in test_every_api_address.py.
PAGES = {name: address for name, address in ADDRESSES.items() if address.api is None}


@dataclass(frozen=True)
class Route:
    name: str
    arguments: tuple[str, ...]


def routes() -> Iterator[Route]:
    """Every named address of the product, with the names of its arguments."""
    yield from _walk(get_resolver(), "")


def _walk(resolver: URLResolver, prefix: str) -> Iterator[Route]:
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            namespace = f"{entry.namespace}:" if entry.namespace else ""
            yield from _walk(entry, prefix + namespace)
        elif isinstance(entry, URLPattern):
            yield Route(f"{prefix}{entry.name}", tuple(entry.pattern.regex.groupindex))


@pytest.fixture
def ours(db: Any) -> World:
    return make_world("Alderbrook Spa Care")


@pytest.fixture
def theirs(db: Any) -> World:
    return make_world("Farwater Tubs")


def test_every_address_is_in_the_table_and_nothing_else() -> None:
    assert sorted(route.name for route in routes()) == sorted(ADDRESSES)


@pytest.mark.parametrize("role", Role)
def test_a_person_reaches_what_is_theirs_and_nothing_else(role: Role, ours: World, theirs: World) -> None:
    browser = Browser()
    browser.force_login(ours.firm.people[role])

    wrong = [
        f"{method} {name} with {whose} object: {status}, not {expected}"
        for name, address in PAGES.items()
        for whose, objects in (
            ("their own", ours.seen),
            ("a hidden", ours.hidden),
            ("a foreign", theirs.seen),
        )
        for method, status, expected in _answers(browser, name, address, role, whose, objects)
    ]

    assert wrong == [], "\n".join(map(str, wrong))


def _status(answer: Any) -> int:
    """The answer's status; a file it carries is read to its end.

    Being asked to confirm who one is comes before any look at the object, there or not: it counts
    as not there.
    """
    if answer.streaming:
        # Read to its end, which closes it; closing it by hand would close the database connection too.
        b"".join(answer)
    asks_again = answer.status_code == 302 and reverse("account_reauthenticate") in answer["Location"]
    return NOT_THERE if asks_again else int(answer.status_code)


def _objects(ours: World, theirs: World) -> Iterator[tuple[str, dict[str, Any]]]:
    yield "their own", ours.seen
    yield "a hidden", ours.hidden
    yield "a foreign", theirs.seen


def _answers(
    browser: Browser, name: str, address: Address, role: Role, whose: str, objects: dict[str, Any]
) -> Iterator[tuple[str, int, str]]:
    if address.public:
        return
    url = reverse(name, kwargs=address.arguments(objects))
    part_hidden = whose == "a hidden" and role == SEES_A_PART and address.of_a_client
    foreign = whose == "a foreign" and bool(address.objects)
    reachable = role in address.roles and not foreign and not part_hidden
    answer = browser.get(url)
    status = _status(answer)
    if reachable:
        if answer.status_code == 302:
            return
        if status >= 400 and status != 405 and not (address.may_be_empty and status == NOT_THERE):
            yield "GET", status, "an answer"
        return
    if status not in (NOT_THERE, 405):
        yield "GET", status, "404"
    posted = _status(browser.post(url, {}))
    if posted not in (NOT_THERE, 405):
        yield "POST", posted, "404"
    if status == posted == 405:
        yield "GET and POST", status, "404"


def test_nobody_reaches_anything_without_signing_in(ours: World) -> None:
    browser = Browser()

    wrong = []
    for name, address in PAGES.items():
        if address.public:
            continue
        for method in (browser.get, browser.post):
            answer = method(reverse(name, kwargs=address.arguments(ours.seen)))
            if answer.status_code != 302 or reverse("account_login") not in answer["Location"]:
                wrong.append((name, answer.status_code))

    assert wrong == [], "\n".join(map(str, wrong))


@pytest.mark.parametrize("role", Role)
def test_looking_at_a_page_changes_nothing(role: Role, ours: World) -> None:
    browser = Browser()
    browser.force_login(ours.firm.people[role])
    with scopes_disabled():
        before = AuditEvent.objects.count()

    for name, address in PAGES.items():
        if not address.public and role in address.roles:
            _status(browser.get(reverse(name, kwargs=address.arguments(ours.seen))))

    with scopes_disabled():
        assert AuditEvent.objects.count() == before


@pytest.mark.parametrize("role", Role)
def test_no_page_of_ours_holds_a_word_of_theirs(role: Role, ours: World, theirs: World) -> None:
    browser = Browser()
    browser.force_login(ours.firm.people[role])
    secrets = [theirs.firm.organisation.name, theirs.firm.technician.name, theirs.seen["client"].name + "<"]
    if role == SEES_A_PART:
        secrets += ["4711", ours.firm.technician.name, str(ours.hidden["spa"].pk)]

    leaks = []
    for name, address in PAGES.items():
        if address.public or role not in address.roles:
            continue
        answer = browser.get(reverse(name, kwargs=address.arguments(ours.seen)))
        body = b"".join(answer) if answer.streaming else answer.content
        leaks += [(name, secret) for secret in secrets if secret.encode() in body]

    assert leaks == []
