"""What every answer tells the browser to refuse. Directives are parsed: their order is not stable.

Bars: OWASP ASVS 5.0.0, 3.4.3 (content security policy), 3.4.4 (nosniff), 3.4.5 (referrer), 3.4.6
(frame-ancestors); the page of each row is a kind of answer that a middleware could miss.
"""

from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client as Browser

from tests.personas import Firm


def _policy(answer: HttpResponse) -> dict[str, list[str]]:
    directives = (part.split() for part in answer["Content-Security-Policy"].split(";"))
    return {words[0]: words[1:] for words in directives if words}


@pytest.fixture(params=["normal", "missing", "sign-in", "broken", "refused form", "health"])
def answer(request: pytest.FixtureRequest, firm: Firm, sign_in: Any, settings: Any) -> HttpResponse:
    settings.ROOT_URLCONF = "tests.shell.gallery"
    browser: Browser = sign_in(firm.owner)
    browser.raise_request_exception = False
    if request.param == "refused form":
        strict = Browser(enforce_csrf_checks=True)
        refused = strict.post("/account/sign-in/", {"login": "x"})
        assert refused.status_code == 403
        return refused
    path, status = {
        "normal": ("/people/me/", 200),
        "missing": ("/no-such-page/", 404),
        "sign-in": ("/account/sign-in/", 200),
        "broken": ("/broken/", 500),
        "health": ("/healthz", 200),
    }[request.param]
    got = (Browser() if request.param == "sign-in" else browser).get(path)
    assert got.status_code == status
    return got


def test_nothing_is_loaded_from_elsewhere_and_nothing_inline(answer: HttpResponse) -> None:
    policy = _policy(answer)

    assert policy["default-src"] == ["'none'"]
    assert policy["style-src"] == ["'self'"]
    assert [source for source in policy["script-src"] if not source.startswith("'nonce-")] == ["'self'"]
    assert not any("unsafe" in source for sources in policy.values() for source in sources)
    assert not any(source.startswith("http") for sources in policy.values() for source in sources)


def test_no_other_site_may_frame_or_take_the_forms(answer: HttpResponse) -> None:
    policy = _policy(answer)

    assert policy["frame-ancestors"] == ["'none'"]
    assert policy["base-uri"] == ["'none'"]
    assert policy["object-src"] == ["'none'"]
    assert policy["form-action"] == ["'self'"]


def test_types_are_not_guessed_and_addresses_not_passed_on(answer: HttpResponse) -> None:
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"
    assert answer["X-Frame-Options"] == "DENY"


def test_a_page_holds_no_inline_style_or_event(answer: HttpResponse) -> None:
    page = answer.content.decode()

    assert " style=" not in page
    assert " onclick=" not in page
    assert "<style" not in page
