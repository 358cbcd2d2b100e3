"""The same questions asked of every page of a room: a table of pages, and what each person gets."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from django.urls import reverse

from tests.personas import Firm


@dataclass(frozen=True)
class Page:
    """One page and how it is asked for.

    url_name  As reversed: "sites:client_edit".
    of        firm -> the rows whose keys the address holds, outermost first.
    writes    It changes something: for those who may edit, never for those who only read.
    posts     It takes POST only, and answers with a redirect.
    """

    url_name: str
    of: Callable[[Firm], tuple[Any, ...]] = lambda firm: ()
    writes: bool = False
    posts: bool = False

    def __str__(self) -> str:
        return self.url_name

    def url(self, firm: Firm) -> str:
        return reverse(self.url_name, args=[row.pk for row in self.of(firm)])

    def url_with_last(self, firm: Firm, last: object) -> str:
        """The address with another last key in it."""
        kept = str(self.of(firm)[-1].pk)
        before, found, after = self.url(firm).rpartition(kept)
        assert found
        return f"{before}{last}{after}"

    def missing_url(self, firm: Firm) -> str:
        return self.url_with_last(firm, uuid4())

    def ask(self, browser: Any, url: str) -> Any:
        return browser.post(url) if self.posts else browser.get(url)

    @property
    def good_status(self) -> int:
        return 302 if self.posts else 200

    def wrong_methods(self) -> tuple[str, ...]:
        if self.posts:
            return ("get", "head", "put", "patch", "delete")
        return ("put", "patch", "delete") if self.writes else ("post", "put", "patch", "delete")
