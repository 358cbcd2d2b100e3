"""Every page stands in the same frame, and it works for a keyboard and a screen reader."""

from collections.abc import Callable

from django.test import Client as Browser

from tests.personas import Firm

SignIn = Callable[..., Browser]


def test_the_first_thing_on_a_page_leads_to_its_content(firm: Firm, sign_in: SignIn) -> None:
    page = sign_in(firm.technician).get("/people/me/").content.decode()

    assert page.index('href="#content"') < page.index("<header")
    assert 'id="content"' in page


def test_a_page_names_who_is_signed_in_and_offers_to_sign_out(firm: Firm, sign_in: SignIn) -> None:
    page = sign_in(firm.technician).get("/people/me/").content.decode()

    assert firm.technician.name in page
    assert "Sign out" in page


def test_a_missing_page_says_so_in_the_frame(firm: Firm, sign_in: SignIn) -> None:
    answer = sign_in(firm.owner).get("/no-such-page/")

    assert answer.status_code == 404
    assert "There is no such page" in answer.content.decode()
