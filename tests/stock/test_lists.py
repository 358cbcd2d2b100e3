"""The lists of products and instruments: found by their words, in few queries."""

from typing import Any

import pytest
from django.urls import reverse
from django_scopes import scope

from service.stock.models import Batch, Product
from service.stock.register import archive
from tests.factories import BatchFactory, InstrumentFactory, ProductFactory
from tests.personas import Firm
from tests.sites.test_lists import FRAME, asked_of_the_database


@pytest.fixture
def office(firm: Firm, sign_in: Any) -> Any:
    return sign_in(firm.office)


def rows(browser: Any, name: str, **asked: str) -> list[Any]:
    return list(browser.get(reverse(f"stock:{name}"), asked).context["listing"].page)


def test_a_product_is_found_by_name_and_by_the_code_of_a_batch_once(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        product = ProductFactory(organisation=firm.organisation, name="Soda")
        BatchFactory(product=product, code="LOT-1")
        BatchFactory(product=product, code="LOT-2")
        ProductFactory(organisation=firm.organisation, name="Acid", form="liquid")

    assert rows(office, "products", q="soda") == [product]
    assert rows(office, "products", q="lot") == [product]
    assert rows(office, "products", form="granules") == [product]


def test_archived_products_and_batches_are_left_out_until_asked_for(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        product = ProductFactory(organisation=firm.organisation, name="Soda")
        batch = BatchFactory(product=product, code="LOT-1")
        archive(row=batch, by=firm.office)
        assert "LOT-1" not in office.get(reverse("stock:products")).content.decode()
        archive(row=product, by=firm.office)

    assert rows(office, "products") == []
    assert rows(office, "products", state="archived") == [product]


def test_an_instrument_is_found_by_serial_and_method(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        meter = InstrumentFactory(organisation=firm.organisation, serial="PH-42", method="electrode")
        InstrumentFactory(organisation=firm.organisation)

    assert rows(office, "instruments", q="ph-42") == [meter]
    assert rows(office, "instruments", method="electrode") == [meter]


def test_another_firms_stock_is_not_listed(firm: Firm, stranger: Firm, office: Any) -> None:
    with scope(organisation=stranger.organisation):
        BatchFactory(product__organisation=stranger.organisation, code="THEIRS")
        InstrumentFactory(organisation=stranger.organisation)

    assert rows(office, "products", q="theirs") == []
    assert rows(office, "products") == rows(office, "instruments") == []


@pytest.mark.parametrize(
    ("name", "own"),
    [
        (
            "products",
            [
                ("how many products", "stock_product"),
                ("a page of them", "stock_product"),
                ("the batches of those on the page", "stock_batch"),
            ],
        ),
        ("instruments", [("how many", "stock_instrument"), ("a page of them", "stock_instrument")]),
    ],
)
def test_a_long_list_asks_few_questions(
    firm: Firm, office: Any, name: str, own: list[tuple[str, str]]
) -> None:
    with scope(organisation=firm.organisation):
        organisation = firm.organisation
        products = [
            Product(organisation=organisation, name=f"P {n:03}", substance="trichlor", active_fraction=1)
            for n in range(120)
        ]
        Product.objects.bulk_create(products)
        Batch.objects.bulk_create(
            Batch(organisation=organisation, product=product, code=str(n))
            for product in products
            for n in range(3)
        )
        InstrumentFactory.create_batch(60, organisation=organisation)
    office.get(reverse("stock:products"))

    statements = asked_of_the_database(office, reverse(f"stock:{name}"))

    expected = FRAME + own
    assert len(statements) == len(expected) <= 12, "\n".join(statements)
    for (words, table), sql in zip(expected, statements, strict=True):
        assert table in sql, words
