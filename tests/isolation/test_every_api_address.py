"""Every address of the API, asked with every role's token, for one's own object, a colleague's client's
and another firm's; and without a token, and with a browser's session instead.
"""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import get_resolver, reverse
from django_scopes import scopes_disabled

from accounts.models import AuditEvent
from accounts.roles import Role
from accounts.tokens import TOKEN_ROLES
from tests.api.asking import PROBLEM, Program, problem_of, program
from tests.isolation.address import Address
from tests.isolation.addresses_api import API
from tests.isolation.world import World, make_world

METHODS = ("GET", "POST", "PATCH")
ADDRESSES = {name: address for name, address in API.items() if address.api is not None}
SEES_A_PART = Role.RENTAL_MANAGER


@pytest.fixture
def ours(db: Any) -> World:
    return make_world("Alderbrook Spa Care")


@pytest.fixture
def theirs(db: Any) -> World:
    return make_world("Farwater Tubs")


def _read(answer: Any) -> bytes:
    return b"".join(answer) if answer.streaming else bytes(answer.content)


def _worlds(ours: World, theirs: World) -> Iterator[tuple[str, dict[str, Any]]]:
    # Another firm's and a hidden one first: what is done to one's own then changes nothing for them.
    yield "foreign", theirs.seen
    yield "hidden", ours.hidden
    yield "own", ours.seen


def _expected(address: Address, method: str, role: Role, whose: str) -> str:
    """ "answer", "404" or "405"."""
    assert address.api is not None
    if not address.api:
        return "404"
    if method not in address.api:
        return "405"
    foreign = whose == "foreign" and bool(address.objects)
    part_hidden = whose == "hidden" and role == SEES_A_PART and address.of_a_client
    if role not in address.api[method] or foreign or part_hidden:
        return "404"
    return "answer"


def _is(status: int, expected: str) -> bool:
    if expected == "answer":
        return status < 500 and status not in (401, 403, 404, 405)
    return str(status) == expected


@pytest.mark.parametrize("role", TOKEN_ROLES)
def test_a_token_reaches_what_its_role_may_and_nothing_else(role: Role, ours: World, theirs: World) -> None:
    asking = program(ours.firm, role)

    wrong = []
    for whose, objects in _worlds(ours, theirs):
        for name, address in ADDRESSES.items():
            for method in METHODS:
                url = reverse(name, kwargs=address.arguments(objects))
                answer = asking.ask(method, url, None if method == "GET" else {})
                expected = _expected(address, method, role, whose)
                if address.may_be_empty and (method, expected) == ("GET", "answer"):
                    continue
                if not _is(answer.status_code, expected):
                    wrong.append(f"{method} {name}, {whose}: {answer.status_code}, not {expected}")
                if answer.status_code >= 400 and answer["Content-Type"] != PROBLEM:
                    wrong.append(f"{method} {name}, {whose}: {answer['Content-Type']}")

    assert wrong == [], "\n".join(wrong)


def test_a_get_of_ones_own_answers_200_wherever_it_may_be_asked(ours: World) -> None:
    for role in TOKEN_ROLES:
        asking = program(ours.firm, role)
        for name, address in ADDRESSES.items():
            if address.api and role in address.api.get("GET", ()):
                answer = asking.get(reverse(name, kwargs=address.arguments(ours.seen)))
                expected = 404 if address.may_be_empty else 200
                assert answer.status_code == expected, (role, name, answer.content[:300])


@pytest.mark.parametrize("way", ["without a token", "signed in with a browser", "with a made-up token"])
def test_nothing_opens_without_a_token(way: str, ours: World, sign_in: Any) -> None:
    asking = Program("runnel_" + "x" * 43 if way == "with a made-up token" else "")
    if way == "signed in with a browser":
        asking.browser = sign_in(ours.firm.owner)

    for name, address in ADDRESSES.items():
        # The description alone is also for people.
        if name == "api:schema" and way == "signed in with a browser":
            continue
        for method in METHODS:
            url = reverse(name, kwargs=address.arguments(ours.seen))
            answer = asking.ask(method, url, None if method == "GET" else {})
            problem_of(answer, 401)
            assert answer["WWW-Authenticate"] == "Bearer", (name, method)


@pytest.fixture(autouse=True)
def _no_limit_on_refusals(monkeypatch: pytest.MonkeyPatch) -> None:
    """The walk is refused hundreds of times in a minute, on purpose."""
    monkeypatch.setattr("service.api.throttling.REFUSED_A_MINUTE", 10**6)
    monkeypatch.setattr("service.api.throttling.WRITES_A_MINUTE", 10**6)


def test_the_description_opens_for_somebody_signed_in_and_takes_nothing(ours: World, sign_in: Any) -> None:
    browser = sign_in(ours.firm.technician)

    assert browser.get("/api/v1/schema/").status_code == 200
    problem_of(browser.post("/api/v1/schema/", {}), 405)


@pytest.mark.parametrize("role", TOKEN_ROLES)
def test_reading_changes_nothing(role: Role, ours: World) -> None:
    asking = program(ours.firm, role)
    with scopes_disabled():
        before = AuditEvent.objects.count()

    for name, address in ADDRESSES.items():
        asking.get(reverse(name, kwargs=address.arguments(ours.seen)))

    with scopes_disabled():
        assert AuditEvent.objects.count() == before


@pytest.mark.parametrize("role", TOKEN_ROLES)
def test_no_answer_holds_a_word_that_is_not_for_the_token(role: Role, ours: World, theirs: World) -> None:
    asking = program(ours.firm, role)
    secrets = [theirs.firm.organisation.name, str(theirs.seen["spa"].pk), str(theirs.seen["visit"].pk)]
    # The way in to a site is nobody's to read here.
    secrets += ["4711", "Side gate", "access_code", "access_notes"]
    if role == SEES_A_PART:
        secrets += [ours.firm.technician.name, str(ours.firm.technician.pk)]
        secrets += [
            str(ours.hidden[name].pk) for name in ("client", "site", "spa", "visit", "record", "defect")
        ]

    leaks = []
    for name, address in ADDRESSES.items():
        body = _read(asking.get(reverse(name, kwargs=address.arguments(ours.seen))))
        leaks += [(name, secret) for secret in secrets if secret.encode() in body]

    assert leaks == []


def test_every_address_below_the_root_is_the_frameworks_own_view_or_the_guide() -> None:
    """So that none of them could be opened by a session, or refuse in another shape."""
    resolver = next(entry for entry in get_resolver().url_patterns if str(entry.pattern) == "api/v1/")
    views = {entry.name: getattr(entry.callback, "cls", None) for entry in resolver.url_patterns}

    assert [name for name, view in views.items() if view is None] == ["guide"]
    assert all(
        [cls.__name__ for cls in view.authentication_classes] == ["BearerToken"]
        for name, view in views.items()
        if view is not None and name != "schema"
    )


def test_lists_of_another_firms_object_are_empty(ours: World, theirs: World) -> None:
    asking = program(ours.firm, Role.OFFICE)

    for resource, name in (
        ("sites", "client"),
        ("spas", "site"),
        ("visits", "spa"),
        ("batches", "product"),
        ("records", "spa"),
        ("closures", "spa"),
        ("defects", "spa"),
        ("fitness", "site"),
    ):
        answer = asking.get(f"{resource}/?{name}={theirs.seen[name].pk}")
        assert json.loads(answer.content)["items"] == [], resource
