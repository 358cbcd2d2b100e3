"""One search over everything, within what a person may see."""

from typing import Any

import pytest
from django.urls import reverse
from django_scopes import scope

from service.sites.archive import archive
from service.visits.models import Defect
from tests.factories import (
    AgreementFactory,
    ClientFactory,
    PersonFactory,
    ProductFactory,
    SiteFactory,
    SpaFactory,
)
from tests.personas import Firm
from tests.visits.working import planned, signed


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
    return {group.key: {line.key for line in group.lines} for group in answer.context["groups"]}


def test_the_office_finds_all_of_its_firm_and_nothing_of_another(firm: Firm, sign_in: Any) -> None:
    assert found(sign_in(firm.office), "heron") == {
        "clients": {firm.client.pk, firm.hidden_client.pk},
        "sites": {firm.site.pk, firm.hidden_site.pk},
        "spas": {firm.spa.pk, firm.hidden_spa.pk},
    }


def test_a_rental_manager_finds_their_own_only(firm: Firm, sign_in: Any) -> None:
    browser = sign_in(firm.rental_manager)

    assert found(browser, "heron") == {
        "clients": {firm.client.pk},
        "sites": {firm.site.pk},
        "spas": {firm.spa.pk},
    }
    assert "hidden_client" not in browser.get(reverse("sites:search"), {"q": "heron"}).content.decode()


def test_a_spa_is_found_by_its_client(firm: Firm, sign_in: Any) -> None:
    assert found(sign_in(firm.office), "hidden_client")["spas"] == {firm.hidden_spa.pk}


@pytest.mark.parametrize("words", ["4711", "side gate"])
def test_gate_codes_find_nothing(firm: Firm, sign_in: Any, words: str) -> None:
    assert found(sign_in(firm.owner), words) == {}


def test_archived_rows_are_found_and_say_so(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        archive(place=firm.client, by=firm.office)

    page = sign_in(firm.office).get(reverse("sites:search"), {"q": firm.spa.name}).content.decode()

    assert reverse("sites:spa", args=[firm.spa.pk]) in page
    assert "archived" in page


def test_more_than_ten_of_a_kind_lead_to_the_whole_list(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        client = ClientFactory(organisation=firm.organisation, name="Otter")
        SpaFactory.create_batch(21, site=SiteFactory(client=client, name="Otter Lodge"), name="Otter tub")
    browser = sign_in(firm.office)

    page = browser.get(reverse("sites:search"), {"q": "otter tub"}).content.decode()

    assert page.count("<mark>Otter</mark> <mark>tub</mark></a>") == 10
    assert "All 21 in spas" in page
    assert "/spas/?q=otter+tub&amp;state=all" in page
    whole = browser.get("/spas/?q=otter+tub&state=all")
    assert whole.context["listing"].page.paginator.count == 21


@pytest.mark.parametrize("words", ["", "   ", "a\0b", "x" * 101], ids=["none", "blank", "null", "too long"])
def test_words_that_cannot_be_searched_find_nothing_and_break_nothing(
    firm: Firm, sign_in: Any, words: str
) -> None:
    answer = sign_in(firm.office).get(reverse("sites:search"), {"q": words})

    assert answer.status_code == 200
    assert answer.context["groups"] == []


def test_the_search_is_a_labelled_field_that_has_the_focus(firm: Firm, sign_in: Any) -> None:
    page = sign_in(firm.office).get(reverse("sites:search")).content.decode()

    assert '<label for="id_q">' in page
    assert 'type="search" name="q" id="id_q" value="" autofocus' in page


# --- visits, records, people, products, agreements, defects ------------------------------------------


@pytest.fixture
def signed_visit(firm: Firm) -> Any:
    with scope(organisation=firm.organisation):
        return signed(firm)


@pytest.mark.parametrize(
    "words",
    ["heron {day:%Y-%m-%d}", "{day:%d/%m/%Y}", "{day.day} {day:%B %Y}", "{digest}", "heron technician"],
    ids=["spa and day", "day", "day in words", "digest", "technician"],
)
def test_a_visit_is_found_by_spa_day_digest_and_technician(
    firm: Firm, sign_in: Any, signed_visit: Any, words: str
) -> None:
    asked = words.format(day=signed_visit.planned_on, digest=signed_visit.record.digest[:12])

    assert found(sign_in(firm.auditor), asked)["visits"] == {signed_visit.pk}


def test_a_visit_is_not_found_by_a_name_that_one_may_not_see(
    firm: Firm, sign_in: Any, signed_visit: Any
) -> None:
    browser = sign_in(firm.rental_manager)

    assert found(browser, firm.technician.name) == {}
    assert found(browser, f"heron {signed_visit.planned_on:%Y-%m-%d}")["visits"] == {signed_visit.pk}


def test_a_manager_is_not_shown_what_is_planned_or_at_another_client(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        planned(firm)
        signed(firm, firm.hidden_spa)

    assert "visits" not in found(sign_in(firm.rental_manager), "heron")


def test_people_products_agreements_and_defects_are_found(firm: Firm, stranger: Firm, sign_in: Any) -> None:
    made: dict[str, Any] = {}
    for one in (stranger, firm):
        with scope(organisation=one.organisation):
            made = {
                "products": ProductFactory(organisation=one.organisation, name="Heron granules"),
                "agreements": AgreementFactory(spa=one.hidden_spa),
                "defects": Defect.objects.create(
                    organisation=one.organisation,
                    spa=one.hidden_spa,
                    description="Heron on the cover",
                    found_by=one.office,
                ),
                "people": PersonFactory(
                    organisation=one.organisation, name="Heron Marsh", roles=["technician"]
                ),
            }
    owner = found(sign_in(firm.owner), "heron")

    assert {key: owner[key] for key in made} == {key: {row.pk} for key, row in made.items()}
    assert "people" not in found(sign_in(firm.office), "heron")
    assert found(sign_in(firm.rental_manager), "heron").keys() == {"clients", "sites", "spas"}


def test_words_are_marked_and_nothing_that_was_typed_becomes_markup(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        firm.spa.name = "Heron <b>bold</b> & co"
        firm.spa.save()

    page = sign_in(firm.office).get(reverse("sites:search"), {"q": "<b>bold"}).content.decode()

    assert "Heron <mark>&lt;b&gt;bold</mark>&lt;/b&gt; &amp; co" in page
    assert "<b>bold" not in page


def test_a_search_takes_twelve_queries_at_most(
    firm: Firm, sign_in: Any, signed_visit: Any, django_assert_max_num_queries: Any
) -> None:
    browser = sign_in(firm.owner)
    found(browser, "heron")

    with django_assert_max_num_queries(12):
        found(browser, "heron")
