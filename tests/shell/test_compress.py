"""Text goes packed to whoever takes it packed; what is packed already goes as it is."""

import gzip
from typing import Any

import pytest
from django.http import HttpRequest, HttpResponse

from service.shell.compress import CompressTextMiddleware
from tests.personas import Firm

PACKED = {"HTTP_ACCEPT_ENCODING": "gzip"}


def test_a_page_goes_packed_to_a_browser_that_takes_it(firm: Firm, sign_in: Any) -> None:
    browser = sign_in(firm.office)

    plain, packed = browser.get("/visits/records/"), browser.get("/visits/records/", **PACKED)

    assert "Content-Encoding" not in plain
    assert packed["Content-Encoding"] == "gzip"
    assert b"<h1" in gzip.decompress(packed.content)
    assert len(packed.content) < len(plain.content) / 2


def test_a_file_that_is_sent_as_it_is_read_goes_packed_too(firm: Firm, sign_in: Any) -> None:
    answer = sign_in(firm.office).get("/office/records.csv", **PACKED)

    assert answer["Content-Encoding"] == "gzip"
    assert gzip.decompress(b"".join(answer)).decode("utf-8-sig").startswith("Day,Ended,Spa")


@pytest.mark.parametrize("kind", ["image/jpeg", "application/pdf"])
def test_pictures_and_papers_go_as_they_are(kind: str) -> None:
    request = HttpRequest()
    request.META["HTTP_ACCEPT_ENCODING"] = "gzip"
    whole = HttpResponse(b"0" * 10_000, content_type=kind)

    answer = CompressTextMiddleware(lambda _: whole)(request)

    assert (answer.content, "Content-Encoding" in answer) == (b"0" * 10_000, False)
