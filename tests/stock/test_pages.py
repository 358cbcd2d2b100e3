"""Every page of products, batches and instruments, asked the same questions by the same people."""

from typing import Any

import pytest
from django.test import Client as Browser
from django_scopes import scope, scopes_disabled

from accounts.roles import Role
from service.stock.models import Batch, Instrument, Product, SiteProduct
from tests.factories import BatchFactory, InstrumentFactory
from tests.page_table import Page
from tests.personas import Firm


def _first(model: Any, firm: Firm) -> Any:
    with scopes_disabled():
        return model.objects.get(organisation=firm.organisation)


def product(firm: Firm) -> tuple[Any, ...]:
    return (_first(Product, firm),)


def batch(firm: Firm) -> tuple[Any, ...]:
    return (_first(Batch, firm),)


def instrument(firm: Firm) -> tuple[Any, ...]:
    return (_first(Instrument, firm),)


def site(firm: Firm) -> tuple[Any, ...]:
    return (firm.site,)


def kept(firm: Firm) -> tuple[Any, ...]:
    return (firm.site, _first(SiteProduct, firm))


PAGES = [
    Page("stock:products"),
    Page("stock:product", product),
    Page("stock:product_new", writes=True),
    Page("stock:product_edit", product, writes=True),
    Page("stock:product_archive", product, writes=True),
    Page("stock:product_restore", product, writes=True, posts=True),
    Page("stock:batch_new", product, writes=True),
    Page("stock:batch_edit", batch, writes=True),
    Page("stock:batch_archive", batch, writes=True),
    Page("stock:batch_restore", batch, writes=True, posts=True),
    Page("stock:instruments"),
    Page("stock:instrument_new", writes=True),
    Page("stock:instrument_edit", instrument, writes=True),
    Page("stock:instrument_archive", instrument, writes=True),
    Page("stock:instrument_restore", instrument, writes=True, posts=True),
    Page("stock:site_products", site, writes=True),
    Page("stock:site_product_remove", kept, writes=True, posts=True),
]
OF_A_ROW = [page for page in PAGES if page.of is not Page.of]
every_page = pytest.mark.parametrize("page", PAGES, ids=str)
every_page_of_a_row = pytest.mark.parametrize("page", OF_A_ROW, ids=str)


@pytest.fixture(autouse=True)
def _stock(firm: Firm) -> None:
    with scope(organisation=firm.organisation):
        made = BatchFactory(product__organisation=firm.organisation)
        InstrumentFactory(organisation=firm.organisation)
        SiteProduct.objects.create(organisation=firm.organisation, site=firm.site, product=made.product)


def test_the_table_lists_every_page_of_the_room() -> None:
    from service.stock.urls import urlpatterns

    assert {page.url_name for page in PAGES} == {f"stock:{pattern.name}" for pattern in urlpatterns}


@every_page
def test_works(page: Page, firm: Firm, sign_in: Any) -> None:
    assert page.ask(sign_in(firm.owner), page.url(firm)).status_code == page.good_status


@every_page
def test_works_for_a_colleague_in_the_office(page: Page, firm: Firm, sign_in: Any) -> None:
    assert page.ask(sign_in(firm.office), page.url(firm)).status_code == page.good_status


@every_page
@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.AUDITOR])
def test_people_who_only_read_see_the_stock_and_change_nothing(
    page: Page, role: Role, firm: Firm, sign_in: Any
) -> None:
    expected = 404 if page.writes else 200

    assert page.ask(sign_in(firm.people[role]), page.url(firm)).status_code == expected


@every_page
def test_a_rental_manager_sees_no_stock(page: Page, firm: Firm, sign_in: Any) -> None:
    assert page.ask(sign_in(firm.rental_manager), page.url(firm)).status_code == 404


@every_page_of_a_row
def test_a_malformed_key_is_not_found(page: Page, firm: Firm, sign_in: Any) -> None:
    url = page.url_with_last(firm, "not-a-key")

    assert page.ask(sign_in(firm.owner), url).status_code == 404


@every_page_of_a_row
def test_a_key_of_nothing_is_not_found(page: Page, firm: Firm, sign_in: Any) -> None:
    assert page.ask(sign_in(firm.owner), page.missing_url(firm)).status_code == 404


@every_page_of_a_row
def test_a_stranger_gets_what_a_missing_row_gives(
    page: Page, firm: Firm, stranger: Firm, sign_in: Any
) -> None:
    browser = sign_in(stranger.owner)

    assert page.ask(browser, page.url(firm)).status_code == 404
    assert page.ask(browser, page.missing_url(firm)).status_code == 404


@every_page
def test_a_wrong_method_is_refused(page: Page, firm: Firm, sign_in: Any) -> None:
    browser, url = sign_in(firm.owner), page.url(firm)

    answers = {method: getattr(browser, method)(url).status_code for method in page.wrong_methods()}

    assert set(answers.values()) == {405}


@every_page
def test_without_signing_in_the_way_leads_to_the_sign_in(page: Page, firm: Firm) -> None:
    answer = page.ask(Browser(), page.url(firm))

    assert answer.status_code == 302
    assert answer["Location"].startswith("/account/sign-in/")
