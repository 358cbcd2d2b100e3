"""Signing in, one's own account and the owner's pages, in a real browser: accessible in both sizes."""

from collections.abc import Callable
from typing import Any

import pytest
from django_scopes import scope
from playwright.sync_api import Page, expect

from accounts.audit import record_event
from accounts.invitations import invite
from accounts.models import Invitation
from tests.factories import PASSWORD
from tests.personas import Firm

AxeClean = Callable[[Page], None]


@pytest.fixture
def busy_firm(firm: Firm) -> Firm:
    """A firm with an open invitation and some entries on its trail."""
    with scope(organisation=firm.organisation):
        invite(email="new@example.org", name="New Person", roles=["rental_manager"], by=firm.owner, link=str)
        for action in ("spa.added", "spa.changed"):
            record_event(action=action, subject=firm.spa, by=firm.office, detail={"changed": ["volume_l"]})
    return firm


@pytest.mark.parametrize("path", ["/account/sign-in/", "/account/password/forgotten/", "/account/closed/"])
def test_the_way_in_is_accessible(path: str, page: Page, axe_clean: AxeClean) -> None:
    page.goto(path)

    axe_clean(page)


def _sign_in(page: Page, email: str) -> None:
    page.goto("/account/sign-in/")
    page.get_by_label("E-mail").fill(email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def test_a_wrong_password_is_told_and_the_address_stays(page: Page, firm: Firm, axe_clean: AxeClean) -> None:
    page.goto("/account/sign-in/")
    page.get_by_label("E-mail").fill(firm.office.email)
    page.get_by_label("Password").fill("wrong")
    page.get_by_role("button", name="Sign in").click()

    expect(page.get_by_role("alert")).to_contain_text("do not belong together")
    expect(page.get_by_label("E-mail")).to_have_value(firm.office.email)
    axe_clean(page)


def test_the_keyboard_alone_signs_in_and_out(page: Page, firm: Firm) -> None:
    page.goto("/account/sign-in/")
    page.get_by_label("E-mail").focus()
    page.keyboard.type(firm.auditor.email)
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)
    page.goto("/people/me/")
    page.get_by_role("main").get_by_role("button", name="Sign out").focus()
    page.keyboard.press("Enter")

    expect(page.get_by_role("status")).to_contain_text("You are signed out")


@pytest.mark.parametrize(
    "path",
    [
        "/people/",
        "/people/{technician}/",
        "/people/roles/",
        "/people/audit-trail/",
        "/people/me/",
        "/people/me/details/",
        "/people/{rental_manager}/clients/",
        "/people/invitations/{invitation}/clients/",
        "/people/invitations/{invitation}/withdraw/",
        "/people/{technician}/sessions/end/",
        "/account/second-factor/",
        "/account/second-factor/keys/",
        "/account/sessions/",
        "/account/sign-out/",
        "/account/password/",
    ],
)
def test_an_owners_page_is_accessible(
    path: str, page: Page, busy_firm: Firm, enter: Any, axe_clean: AxeClean
) -> None:
    enter(page, busy_firm.owner)
    with scope(organisation=busy_firm.organisation):
        invitation = Invitation.objects.get()
    page.goto(
        path.format(
            technician=busy_firm.technician.pk,
            rental_manager=busy_firm.rental_manager.pk,
            invitation=invitation.pk,
        )
    )

    expect(page.get_by_role("heading", level=1)).to_be_visible()
    axe_clean(page)


def test_sensitive_pages_open_after_confirming_and_are_accessible(
    page: Page, busy_firm: Firm, axe_clean: AxeClean
) -> None:
    _sign_in(page, busy_firm.owner.email)
    page.goto("/people/me/signing-pin/")
    axe_clean(page)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Confirm").click()

    expect(page.get_by_role("heading", level=1)).to_contain_text("signing PIN")
    axe_clean(page)
    for path in (
        "/people/me/email/",
        "/people/invite/",
        f"/people/{busy_firm.technician.pk}/roles/",
        f"/people/{busy_firm.technician.pk}/close/",
        "/people/second-factor/",
        "/account/second-factor/app/",
        "/account/second-factor/keys/add/",
    ):
        page.goto(path)
        expect(page.get_by_role("heading", level=1)).not_to_contain_text("Confirm")
        axe_clean(page)


def test_an_invited_person_makes_an_account_and_signs_in(page: Page, firm: Firm, axe_clean: AxeClean) -> None:
    secrets: list[str] = []
    with scope(organisation=firm.organisation):
        invite(
            email="new@example.org",
            name="New Person",
            roles=["technician"],
            by=firm.owner,
            link=lambda secret: secrets.append(secret) or secret,  # type: ignore[func-returns-value]
        )
    page.goto(f"/people/invitation/{secrets[0]}/")
    axe_clean(page)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Make my account").click()

    expect(page.get_by_role("status")).to_contain_text("Your account is ready")
    _sign_in(page, "new@example.org")
    page.goto("/people/me/")
    expect(page.get_by_role("main")).to_contain_text("Technician")


def test_a_passkey_signs_in_without_a_password(new_page: Callable[..., Page], firm: Firm) -> None:
    """With Chromium's virtual authenticator (WebAuthn Level 2, section 11), at localhost."""
    page = new_page("phone")
    devtools = page.context.new_cdp_session(page)
    devtools.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2",
        "transport": "internal",
        "hasResidentKey": True,
        "hasUserVerification": True,
        "isUserVerified": True,
        "automaticPresenceSimulation": True,
    }
    devtools.send("WebAuthn.addVirtualAuthenticator", {"options": options})
    _sign_in(page, firm.auditor.email)
    page.goto("/account/second-factor/keys/add/")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Confirm").click()
    page.get_by_label("This key alone signs me in, without a password").check()
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Recovery codes")
    page.goto("/account/sign-out/")
    page.get_by_role("main").get_by_role("button", name="Sign out").click()

    page.goto("/account/sign-in/")
    page.get_by_role("button", name="Use a passkey").click()
    page.wait_for_url(lambda url: "sign-in" not in url)
    page.goto("/people/me/")

    expect(page.get_by_role("main")).to_contain_text(firm.auditor.email)
