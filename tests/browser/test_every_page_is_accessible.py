"""Every page of the isolation table, for everybody who may open it, in a real Chromium.

The pages come from ``tests/isolation/addresses.py``: an address added there is walked here by itself.
A page that holds nothing but what one page before it held (kinds of element, names of fields) is not
looked at again; one with a kind of element that is new is examined whole, others with axe and for width.
"""

import os
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.test import Client as Browser
from django.urls import reverse
from playwright.sync_api import Page

from accounts.models import Person
from accounts.roles import Role
from tests.browser.examining import brief_complaints, complaints
from tests.browser.filled_world import filled_world
from tests.isolation.address import WORKERS
from tests.isolation.addresses import ADDRESSES, Address
from tests.isolation.world import World

TAG = re.compile(r"<([a-z0-9]+)((?:\s[^<>]*)?)>")
KIND = re.compile(r'\s(?:class|type|role)="([^"]*)"')
KIND_AND_NAME = re.compile(r'\s(?:class|type|role|name)="([^"]*)"')
TITLE = re.compile(r"<title>(.*?)</title>", re.S)
UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f-]{27}")


# The rooms whose pages are walked together; every other room is in the last part.
PARTS = {"account": ("", "accounts"), "places": ("sites", "stock"), "visits": ("visits",)}


@dataclass(frozen=True)
class Seen:
    """A page of one role: its address's name, where it is, how it reads, and whether a form was refused."""

    name: str
    path: str
    body: str
    refused: bool = False

    def __str__(self) -> str:
        return f"{self.name.replace(':', '-')}{'-refused' if self.refused else ''}"

    @property
    def is_field_work(self) -> bool:
        return ADDRESSES[self.name].roles == WORKERS


@pytest.fixture
def world(transactional_db: None, settings: Any, tmp_path: Path) -> World:
    settings.MEDIA_ROOT = tmp_path
    return filled_world("Alderbrook Spa Care")


def made_of(body: str, telling: re.Pattern[str]) -> frozenset[str]:
    """The kinds of element in a page's content: tag with what ``telling`` finds, without any object's own."""
    main = body.partition("<main")[2]
    return frozenset(UUID.sub("", " ".join([tag, *telling.findall(rest)])) for tag, rest in TAG.findall(main))


def is_page(answer: Any) -> bool:
    """Whether an answer is a page to look at: not a file, a redirect, or a refusal of the method."""
    if answer.streaming:
        b"".join(answer)  # Read to its end, which closes the file.
        return False
    said = answer.headers.get("Content-Type", "")
    return answer.status_code == 200 and said.startswith("text/html")


def room_of(name: str) -> str:
    return name.rpartition(":")[0]


def addresses_of(part: str) -> dict[str, Address]:
    """The table's rows of one part of PARTS, or of all other rooms; of the API the guide alone is a page."""
    elsewhere = [room for rooms in PARTS.values() for room in rooms]
    return {
        name: address
        for name, address in ADDRESSES.items()
        if address.api is None and not address.public
        if (room_of(name) in PARTS[part] if part in PARTS else room_of(name) not in elsewhere)
    }


def pages_of(part: str, role: Role, browser: Browser, world: World) -> Iterator[Seen]:
    for name, address in addresses_of(part).items():
        if role not in address.roles:
            continue
        path = reverse(name, kwargs=address.arguments(world.seen))
        answer = browser.get(path)
        if not is_page(answer):
            assert answer.status_code in (200, 302, 405) or may_be_missing(address), (
                f"{name}: {answer.status_code}"
            )
            continue
        yield Seen(name, path, answer.content.decode())
        with transaction.atomic():
            refused = browser.post(path, {})
            transaction.set_rollback(True)
        if is_page(refused) and b"errorlist" in refused.content:
            yield Seen(name, path, refused.content.decode(), refused=True)


def may_be_missing(address: Address) -> bool:
    return address.may_be_empty or bool(address.fixed)


def open_page(page: Page, seen: Seen) -> None:
    page.goto(seen.path)
    if not seen.refused:
        return
    with page.expect_navigation():
        page.evaluate(
            """() => {
                const form = document.createElement("form");
                form.method = "post";
                form.append(document.querySelector("[name=csrfmiddlewaretoken]").cloneNode());
                document.body.append(form);
                form.submit();
            }"""
        )


@pytest.fixture
def looking(new_page: Callable[..., Page], confirmed: Any, live_server: Any) -> Any:
    def signed_in(person: Person) -> tuple[Browser, Page]:
        browser = confirmed(person)
        page = new_page("phone")
        cookie = browser.cookies["sessionid"]
        page.context.add_cookies([{"name": "sessionid", "value": cookie.value, "url": live_server.url}])
        return browser, page

    return signed_in


def keep_picture(page: Page, name: str) -> None:
    """Pictures to look at, when somebody asks for them."""
    if not (folder := os.environ.get("RUNNEL_PICTURES")):
        return
    for size in ({"width": 390, "height": 844}, {"width": 1280, "height": 800}):
        page.set_viewport_size(size)
        page.screenshot(path=Path(folder) / f"{name}-{size['width']}.png", full_page=True)


@pytest.mark.parametrize("part", [*PARTS, "other rooms"])
def test_every_page_is_accessible(part: str, world: World, looking: Any) -> None:
    kinds: frozenset[str] = frozenset()
    pages: list[frozenset[str]] = []
    wrong: list[str] = []
    for role in Role:
        browser, page = looking(world.firm.people[role])
        for seen in list(pages_of(part, role, browser, world)):
            here = made_of(seen.body, KIND_AND_NAME)
            if any(here <= earlier for earlier in pages):
                continue
            pages.append(here)
            new_kinds = made_of(seen.body, KIND) - kinds
            kinds |= new_kinds
            open_page(page, seen)
            found = complaints(page, wet_hands=seen.is_field_work) if new_kinds else brief_complaints(page)
            keep_picture(page, f"{part}-{seen}-{role}")
            wrong += [f"{seen}, {role}: {what}" for what in found]

    assert wrong == [], "\n" + "\n".join(wrong)


@pytest.mark.parametrize("role", Role)
def test_no_two_pages_have_one_title(role: Role, world: World, confirmed: Any) -> None:
    browser = confirmed(world.firm.people[role])
    titles: dict[str, list[str]] = {}
    for part in [*PARTS, "other rooms"]:
        for seen in pages_of(part, role, browser, world):
            # A plan that holds for its week is the week's page by a second address.
            if not seen.refused and seen.name != "rounds:plan":
                titles.setdefault(TITLE.findall(seen.body)[0], []).append(seen.name)

    assert {title: names for title, names in titles.items() if len(names) > 1} == {}
