"""A real Chromium against a real server: ``page`` comes as a phone and as a desk.

Tests here are marked ``browser``. Without Chromium they are skipped and say so;
``RUNNEL_REQUIRE_ALL=1`` turns that into a failure.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect, sync_playwright

from accounts.models import Person

SIZES = {"phone": {"width": 390, "height": 844}, "desk": {"width": 1280, "height": 800}}
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 30_000
"""How long a page may take: the machine is shared, and what never comes fails all the same."""


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "tests/browser/" in item.nodeid:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """One Chromium for the worker process."""
    if CHROMIUM is None:
        if os.environ.get("RUNNEL_REQUIRE_ALL") == "1":
            pytest.fail("Chromium is required and not installed.")
        pytest.skip("Chromium is not installed.")
    # Playwright's event loop runs in this thread, and Django would refuse the ORM next to one;
    # the tests themselves are not asynchronous.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def new_page(chromium: Browser, live_server: Any) -> Iterator[Callable[..., Page]]:
    """``new_page("phone", dark=False)`` → a page with its own cookies, at the live server's address.

    Fails the test when the page's own script throws or the browser refuses something for the
    content security policy.
    """
    contexts, complaints = [], []

    def make(size: str = "desk", *, dark: bool = False, scripts: bool = True, **options: Any) -> Page:
        context = chromium.new_context(
            base_url=live_server.url,
            viewport=SIZES[size],
            color_scheme="dark" if dark else "light",
            has_touch=size == "phone",
            java_script_enabled=scripts,
            locale="en-GB",
            **options,
        )
        context.set_default_timeout(PATIENCE_MS)
        context.set_default_navigation_timeout(2 * PATIENCE_MS)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on(
            "console", lambda said: complaints.append(said.text) if "Content Security" in said.text else None
        )
        return page

    yield make
    for context in contexts:
        context.close()
    assert complaints == []


@pytest.fixture(params=list(SIZES))
def page(request: pytest.FixtureRequest, new_page: Callable[..., Page]) -> Page:
    """The same test on a phone and at a desk."""
    return new_page(request.param)


@pytest.fixture
def enter(live_server: Any, client: Any) -> Callable[[Page, Person], None]:
    """``enter(page, person)``: the page's browser is signed in, without walking through the sign-in."""

    def entered(page: Page, person: Person) -> None:
        client.force_login(person)
        cookie = client.cookies["sessionid"]
        page.context.add_cookies([{"name": "sessionid", "value": cookie.value, "url": live_server.url}])

    return entered


@pytest.fixture
def axe_clean() -> Callable[[Page], None]:
    """``axe_clean(page)``: no accessibility violation, and nothing wider than the screen."""
    axe = Axe()

    def check(page: Page) -> None:
        found = axe.run(page).response["violations"]
        assert [
            f"{rule['id']}: {rule['help']} {[node['target'] for node in rule['nodes']]}" for rule in found
        ] == []
        # A page that needs sideways scrolling hides half of every line on a phone.
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), (
            "wider than the screen"
        )

    return check
