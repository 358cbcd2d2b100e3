"""What is wrong is refused in one shape, at its field, and never answers 500."""

import json
from typing import Any
from uuid import uuid4

import pytest
from django.conf import settings
from django.test import override_settings
from django.utils import timezone
from django_scopes import scope

from accounts.roles import Role
from service.api import limits
from service.sites.models import Client
from tests.api.asking import Program, fields_of, problem_of, program
from tests.factories import InstrumentFactory
from tests.personas import Firm
from tests.visits.working import started

DEEP = b"[" * 100_000 + b"]" * 100_000
SPA = {"site": "{site}", "name": "a"}
PLAN = {"planned_on": "2026-06-03"}


@pytest.mark.parametrize(
    ("body", "word"),
    [
        (b"{", "not JSON"),
        (b"", "name"),
        (b"[]", "Expected a dictionary"),
        (b'"text"', "Expected a dictionary"),
        (b"null", ""),
        (b'{"name": NaN}', "not a number"),
        (b'{"name": Infinity}', "not a number"),
        (b'{"name": -Infinity}', "not a number"),
        (b'{"name": "a", "name": "b"}', "twice"),
        (b'{"name": "a\\u0000b"}', "NUL"),
        (b'{"a\\u0000b": 1}', "NUL"),
        (b'{"name": "\\ud800"}', "surrogate"),
        (b'{"name": "\xff"}', "UTF-8"),
        (b"\xef\xbb\xbf{}", "not JSON"),
        (DEEP, "nested"),
        (b'{"name": [[[[[[[[[["a"]]]]]]]]]]}', "nested"),
        (b'{"name": ' + b"9" * 5000 + b"}", ""),
    ],
    ids=lambda value: value[:24] if isinstance(value, bytes) else "",
)
def test_a_body_that_is_no_good_json_answers_400(body: bytes, word: str, office: Program) -> None:
    told = problem_of(office.post("clients/", raw=body), 400)

    assert word in json.dumps(told)


@pytest.mark.parametrize(
    ("path", "body", "fields"),
    [
        ("clients/", {}, ["name"]),
        ("clients/", {"name": ""}, ["name"]),
        ("clients/", {"name": ["a"]}, ["name"]),
        ("clients/", {"name": True}, ["name"]),
        ("clients/", {"name": "x" * 121}, ["name"]),
        ("clients/", {"name": "a", "colour": 1, "access_code": "1"}, ["access_code", "colour"]),
        ("clients/", {"name": "a", "organisation": str(uuid4())}, ["organisation"]),
        ("clients/", {"name": "a", "archived_at": None}, ["archived_at"]),
        ("clients/", {"name": "a", "email": "not an address"}, ["email"]),
        ("spas/", {**SPA, "volume_l": "lots"}, ["volume_l"]),
        ("spas/", {**SPA, "volume_l": 99}, ["volume_l"]),
        ("spas/", {**SPA, "volume_l": 10**40}, ["volume_l"]),
        ("spas/", {**SPA, "volume_l": 900, "heater_kw": "NaN"}, ["heater_kw"]),
        ("spas/", {**SPA, "volume_l": 900, "heater_kw": "1e999"}, ["heater_kw"]),
        ("spas/", {**SPA, "volume_l": 900, "forbidden_substances": ["x"]}, ["forbidden_substances"]),
        ("spas/", {**SPA, "volume_l": 900, "commissioned_on": "31/12/2020"}, ["commissioned_on"]),
        ("spas/", {"site": "1", "name": "a", "volume_l": 900}, ["site"]),
        ("sites/", {"client": "{client}", "name": "a", "latitude": 91, "longitude": 0}, ["latitude"]),
        ("sites/", {"client": "{client}", "name": "a", "latitude": 51}, ["longitude"]),
        ("products/", {"name": "a", "substance": "pixie_dust", "active_fraction": "0.5"}, ["substance"]),
        (
            "products/",
            {"name": "a", "substance": "borax_decahydrate", "active_fraction": "1.5"},
            ["active_fraction"],
        ),
        ("instruments/", {"name": "a", "method": "photometer", "plus_minus": {"charm": 1}}, ["plus_minus"]),
        ("instruments/", {"name": "a", "method": "photometer", "plus_minus": {"ph": -1}}, ["plus_minus.ph"]),
        ("visits/", {"spa": "{spa}", "planned_on": "0001-01-01"}, ["planned_on"]),
        ("visits/", {"spa": "{spa}", "planned_on": "tomorrow"}, ["planned_on"]),
        ("visits/", {"spa": "{spa}", "planned_on": "2026-06-03", "kind": "party"}, ["kind"]),
        (
            "visits/",
            {"spa": "{spa}", "planned_on": "{today}", "window_from": "10:00", "window_to": "09:00"},
            ["window_to"],
        ),
    ],
)
def test_wrong_values_are_told_at_their_fields(
    path: str, body: dict[str, Any], fields: list[str], firm: Firm, office: Program
) -> None:
    known = {
        "site": firm.site.pk,
        "client": firm.client.pk,
        "spa": firm.spa.pk,
        "today": timezone.localdate(),
    }
    filled = {
        name: value.format(**known) if isinstance(value, str) else value for name, value in body.items()
    }

    assert fields_of(office.post(path, filled)) == fields


def test_another_firms_or_a_hidden_key_in_a_body_does_not_exist(
    firm: Firm, stranger: Firm, office: Program
) -> None:
    with scope(organisation=stranger.organisation):
        theirs = InstrumentFactory(organisation=stranger.organisation)

    assert fields_of(office.post("sites/", {"client": str(stranger.client.pk), "name": "a"})) == ["client"]
    new_spa = {"site": str(stranger.site.pk), "name": "a", "volume_l": 900}
    assert fields_of(office.post("spas/", new_spa)) == ["site"]
    assert fields_of(office.post("visits/", {**PLAN, "spa": str(stranger.spa.pk)})) == ["spa"]
    plan = {**PLAN, "spa": str(firm.spa.pk), "technician": str(stranger.technician.pk)}
    assert fields_of(office.post("visits/", plan)) == ["technician"]
    with scope(organisation=firm.organisation):
        visit = started(firm)
    reading = {"parameter": "ph", "value": "7.4", "instrument": str(theirs.pk)}
    body = {"moment": "before", "readings": [reading], "revision": visit.revision}
    assert fields_of(office.post(f"visits/{visit.pk}/readings/", body)) == ["readings.0.instrument"]


@pytest.mark.parametrize(
    ("query", "fields"),
    [
        ("colour=red", ["colour"]),
        ("limit=0", ["limit"]),
        ("limit=201", ["limit"]),
        ("limit=x", ["limit"]),
        ("limit=5&limit=6", ["limit"]),
        ("state=maybe", ["state"]),
        ("cursor=%00", ["cursor"]),
        ("cursor=zzzz", ["cursor"]),
        ("cursor=bnVsbA", ["cursor"]),
        ("cursor=WyJ4Il0", ["cursor"]),
        ("cursor=" + "a" * 301, ["cursor"]),
        ("changed_since=yesterday", ["changed_since"]),
        ("changed_since=0001-01-01T00:00:00%2B14:00", ["changed_since"]),
        ("format=api", ["format"]),
        ("ordering=-name", ["ordering"]),
    ],
)
def test_a_query_that_is_not_known_is_refused(query: str, fields: list[str], office: Program) -> None:
    assert fields_of(office.get(f"clients/?{query}")) == fields


def test_a_query_where_none_is_taken_is_refused(firm: Firm, office: Program) -> None:
    assert fields_of(office.get(f"clients/{firm.client.pk}/?limit=1")) == ["limit"]
    assert fields_of(office.post("clients/?limit=1", {"name": "a"})) == ["limit"]


@pytest.mark.parametrize(
    "content_type",
    ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/xml"],
)
def test_only_json_goes_in(content_type: str, office: Program) -> None:
    problem_of(office.post("clients/", {"name": "a"}, content_type=content_type), 415)


def test_a_body_larger_than_the_limit_is_refused(firm: Firm, office: Program) -> None:
    body = b'{"name": "' + b"a" * limits.BODY_MAX_BYTES + b'"}'

    problem_of(office.post("clients/", raw=body), 413)
    with scope(organisation=firm.organisation):
        assert Client.objects.count() == 2


def test_other_refusals_have_the_same_shape(firm: Firm, office: Program) -> None:
    assert problem_of(office.ask("DELETE", f"clients/{firm.client.pk}/"), 405)["type"].endswith(
        "wrong-method"
    )
    problem_of(office.ask("PUT", f"clients/{firm.client.pk}/", {}), 405)
    problem_of(office.ask("OPTIONS", "clients/"), 405)
    problem_of(office.get("clients/", headers={"Accept": "text/html"}), 406)
    problem_of(office.get("nothing/here/"), 404)
    problem_of(office.get("clients"), 404)
    problem_of(office.get(f"clients/{uuid4()}/"), 404)
    problem_of(office.get("clients/not-a-key/"), 404)


def test_answers_are_kept_in_no_cache(office: Program) -> None:
    assert office.get("clients/")["Cache-Control"] == "private, no-store"


def test_a_token_asks_so_often_and_no_more(
    firm: Firm, office: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.api.throttling.READS_A_MINUTE", 2)
    monkeypatch.setattr("service.api.throttling.WRITES_A_MINUTE", 1)
    monkeypatch.setattr("service.api.throttling.time.time", lambda: 1_000_000.0)

    assert [office.get("spas/").status_code for _ in range(3)] == [200, 200, 429]
    told = office.get("spas/")
    assert problem_of(told, 429)["type"].endswith("too-many")
    assert 0 < int(told["Retry-After"]) <= 61
    # Writes are counted by themselves, and so is another token.
    assert [office.post("clients/", {}).status_code for _ in range(2)] == [400, 429]
    assert program(firm, Role.OFFICE).get("spas/").status_code == 200
    monkeypatch.setattr("service.api.throttling.time.time", lambda: 1_000_060.0)
    assert office.get("spas/").status_code == 200


def test_wrong_tokens_from_one_address_are_counted_whatever_they_claim(
    nobody: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.api.throttling.REFUSED_A_MINUTE", 2)
    monkeypatch.setattr("service.api.throttling.time.time", lambda: 1_000_000.0)

    forged = [
        nobody.get("spas/", headers={"X-Forwarded-For": f"198.51.100.{place}"}).status_code
        for place in range(3)
    ]

    assert settings.REST_FRAMEWORK["NUM_PROXIES"] == 0
    assert forged == [401, 401, 429]


def test_a_token_sent_in_clear_is_refused_where_https_is_asked_for(office: Program) -> None:
    with override_settings(SECURE_SSL_REDIRECT=True, SECURE_REDIRECT_EXEMPT=[r"^api/"]):
        told = problem_of(office.get("spas/"), 400)
        assert office.browser.get("/api/v1/spas/", secure=True).status_code == 401

    assert "https" in told["detail"]
