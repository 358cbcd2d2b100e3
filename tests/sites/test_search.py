"""One search over clients, sites and spas, within what a person may see."""

from typing import Any

import pytest
from django.urls import reverse
from django_scopes import scope

from service.sites.archive import archive
from tests.factories import ClientFactory, SiteFactory, SpaFactory
from tests.personas import Firm


@pytest.fixture(autouse=True)
def _named(firm: Firm, stranger: Firm) -> None:
    """Rows of both firms that all fit the word "heron"."""
    for one in (firm, stranger):
        with scope(organisation=one.organisation):
            for kind in ("client", "site", "spa", "hidden_client", "hidden_site", "hidden_spa"):
                row = getattr(one, kind)
                row.name = f"Heron {kind} of {one.organisation.name}"
                row.save()


def found(browser: Any, words: str) -> dict[str, set[Any]]:
    answer = browser.get(reverse("sites:search"), {"q": words})
    assert answer.status_code == 200
    return {name: set(rows) for name, rows in answer.context["found"].items() if name != "most"}


def test_the_office_finds_all_of_its_firm_and_nothing_of_another(firm: Firm, sign_in: Any) -> None:
    assert found(sign_in(firm.office), "heron") == {
        "clients": {firm.client, firm.hidden_client},
        "sites": {firm.site, firm.hidden_site},
        "spas": {firm.spa, firm.hidden_spa},
    }


def test_a_rental_manager_finds_their_own_only(firm: Firm, sign_in: Any) -> None:
    browser = sign_in(firm.rental_manager)

    assert found(browser, "heron") == {"clients": {firm.client}, "sites": {firm.site}, "spas": {firm.spa}}
    assert "hidden_client" not in browser.get(reverse("sites:search"), {"q": "heron"}).content.decode()


def test_a_spa_is_found_by_its_client(firm: Firm, sign_in: Any) -> None:
    assert found(sign_in(firm.office), "hidden_client")["spas"] == {firm.hidden_spa}


@pytest.mark.parametrize("words", ["4711", "side gate"])
def test_gate_codes_find_nothing(firm: Firm, sign_in: Any, words: str) -> None:
    assert found(sign_in(firm.owner), words) == {"clients": set(), "sites": set(), "spas": set()}


def test_archived_rows_are_found_and_say_so(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        archive(place=firm.client, by=firm.office)

    page = sign_in(firm.office).get(reverse("sites:search"), {"q": firm.spa.name}).content.decode()

    assert firm.spa.name in page
    assert "archived" in page


def test_more_than_twenty_of_a_kind_lead_to_the_whole_list(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        client = ClientFactory(organisation=firm.organisation, name="Otter")
        SpaFactory.create_batch(21, site=SiteFactory(client=client, name="Otter Lodge"), name="Otter tub")
    browser = sign_in(firm.office)

    page = browser.get(reverse("sites:search"), {"q": "otter tub"}).content.decode()

    assert page.count("Otter tub</a>") == 20
    assert "/spas/?q=otter+tub&amp;state=all" in page
    whole = browser.get("/spas/?q=otter+tub&state=all")
    assert whole.context["listing"].page.paginator.count == 21


@pytest.mark.parametrize("words", ["", "   ", "a\0b", "x" * 101], ids=["none", "blank", "null", "too long"])
def test_words_that_cannot_be_searched_find_nothing_and_break_nothing(
    firm: Firm, sign_in: Any, words: str
) -> None:
    answer = sign_in(firm.office).get(reverse("sites:search"), {"q": words})

    assert answer.status_code == 200
    assert answer.context["found"] == {}


def test_the_search_is_a_labelled_field_that_has_the_focus(firm: Firm, sign_in: Any) -> None:
    page = sign_in(firm.office).get(reverse("sites:search")).content.decode()

    assert '<label for="id_q">' in page
    assert 'type="search" name="q" id="id_q" value="" autofocus' in page
