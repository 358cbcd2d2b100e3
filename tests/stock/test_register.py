"""Products, batches, instruments: added, changed, archived with their audit rows, by those who may."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django_scopes import scope

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from accounts.roles import Role
from service.sites import saving
from service.stock.models import Batch, Instrument, Product, SiteProduct
from service.stock.register import (
    add_batch,
    add_instrument,
    add_product,
    archive,
    change_batch,
    change_instrument,
    change_product,
    keep_at_site,
    no_longer_at_site,
    restore,
)
from tests.factories import BatchFactory, InstrumentFactory, ProductFactory
from tests.personas import Firm

SODA = {"name": "Alkalinity up", "substance": "sodium_bicarbonate", "active_fraction": Decimal("0.99")}


def actions() -> list[str]:
    return list(AuditEvent.objects.order_by("id").values_list("action", flat=True))


def test_a_product_goes_from_the_shelf_to_the_archive_and_back(in_firm: Firm) -> None:
    product = add_product(by=in_firm.office, **SODA)
    product = change_product(product=product, by=in_firm.office, active_fraction=Decimal("0.95"))
    archive(row=product, by=in_firm.office)
    assert Product.objects.get(pk=product.pk).archived_at is not None
    restore(row=product, by=in_firm.office)

    assert Product.objects.get(pk=product.pk).archived_at is None
    assert actions() == ["product.added", "product.changed", "product.archived", "product.restored"]
    detail = AuditEvent.objects.get(action="product.changed").detail
    assert detail["active_fraction"] == ["0.99000", "0.95"]


def test_a_batch_and_an_instrument_likewise(in_firm: Firm) -> None:
    batch = add_batch(product=ProductFactory(organisation=in_firm.organisation), by=in_firm.office, code="B1")
    change_batch(batch=batch, by=in_firm.office, expires_on=date(2027, 1, 31))
    meter = add_instrument(by=in_firm.office, name="pH meter", method="electrode")
    change_instrument(instrument=meter, by=in_firm.office, checked_on=date(2026, 5, 1))
    for row in (batch, meter):
        archive(row=row, by=in_firm.office)

    assert actions() == [
        "batch.added",
        "batch.changed",
        "instrument.added",
        "instrument.changed",
        "batch.archived",
        "instrument.archived",
    ]


def test_a_product_at_a_site_is_noted_once_and_taken_away(in_firm: Firm) -> None:
    product = ProductFactory(organisation=in_firm.organisation, name="Soda")
    kept = keep_at_site(site=in_firm.site, product=product, note="Pump house", by=in_firm.office)
    with pytest.raises(ValidationError, match="Soda is already noted here"):
        keep_at_site(site=in_firm.site, product=product, note="", by=in_firm.office)
    no_longer_at_site(kept=kept, by=in_firm.office)

    assert not SiteProduct.objects.exists()
    assert actions() == ["site.product_kept", "site.product_gone"]


def test_a_product_or_site_of_another_firm_is_refused(in_firm: Firm, stranger: Firm) -> None:
    with scope(organisation=stranger.organisation):
        foreign = ProductFactory(organisation=stranger.organisation)

    with pytest.raises(ValidationError):
        keep_at_site(site=in_firm.site, product=foreign, note="", by=in_firm.office)
    with pytest.raises(ValidationError):
        add_batch(product=foreign, by=in_firm.office, code="B1")


@pytest.mark.parametrize(
    ("fields", "at"),
    [
        ({"substance": "soap"}, "substance"),
        ({"active_fraction": Decimal(0)}, "active_fraction"),
        ({"active_fraction": Decimal("1.1")}, "active_fraction"),
        ({"form": "liquid"}, "density_g_ml"),
        ({"form": "tablet"}, "unit_mass_g"),
        ({"form": "gas"}, "form"),
        ({"density_g_ml": Decimal("3.1")}, "density_g_ml"),
        ({"unit_mass_g": Decimal("2000.1")}, "unit_mass_g"),
        ({"label_wait_minutes": 10081}, "label_wait_minutes"),
        ({"label_max_g_per_m3": Decimal(0)}, "label_max_g_per_m3"),
        ({"name": ""}, "name"),
    ],
    ids=str,
)
def test_a_product_that_cannot_be_dosed_is_refused_at_its_field(
    in_firm: Firm, fields: dict[str, Any], at: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        add_product(by=in_firm.office, **SODA | fields)

    assert list(refused.value.message_dict) == [at]
    assert not Product.objects.exists()


def test_a_name_stands_once_among_products_and_a_code_once_in_a_product(in_firm: Firm) -> None:
    product = add_product(by=in_firm.office, **SODA)
    other = add_product(by=in_firm.office, **SODA | {"name": "Other"})
    add_batch(product=product, by=in_firm.office, code="B1")

    with pytest.raises(ValidationError, match="“Alkalinity up” is already taken by another product"):
        change_product(product=other, by=in_firm.office, name="Alkalinity up")
    with pytest.raises(ValidationError, match="“B1” is already taken by another batch"):
        add_batch(product=product, by=in_firm.office, code="B1")
    assert add_batch(product=other, by=in_firm.office, code="B1").product == other


def test_a_check_cannot_be_due_before_it_was_done(in_firm: Firm) -> None:
    with pytest.raises(ValidationError) as refused:
        add_instrument(
            by=in_firm.office,
            name="pH meter",
            method="electrode",
            checked_on=date(2026, 5, 1),
            check_due_on=date(2026, 5, 1),
        )

    assert refused.value.message_dict == {"check_due_on": ["The next check must come after the last one."]}


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.RENTAL_MANAGER, Role.AUDITOR])
def test_people_who_only_read_write_nothing(in_firm: Firm, role: Role) -> None:
    person = in_firm.people[role]
    batch = BatchFactory(product__organisation=in_firm.organisation)
    meter = InstrumentFactory(organisation=in_firm.organisation)
    attempts = [
        lambda: add_product(by=person, **SODA),
        lambda: change_product(product=batch.product, by=person, name="X"),
        lambda: add_batch(product=batch.product, by=person, code="X"),
        lambda: change_batch(batch=batch, by=person, code="X"),
        lambda: add_instrument(by=person, name="X", method="strip"),
        lambda: change_instrument(instrument=meter, by=person, name="X"),
        lambda: archive(row=batch, by=person),
        lambda: restore(row=batch, by=person),
        lambda: keep_at_site(site=in_firm.site, product=batch.product, note="", by=person),
    ]
    for attempt in attempts:
        with pytest.raises(NotAllowed):
            attempt()

    assert actions() == []


@pytest.mark.django_db(transaction=True)
def test_a_product_keeps_its_strength_when_the_audit_row_fails(
    in_firm: Firm, monkeypatch: pytest.MonkeyPatch
) -> None:
    product = add_product(by=in_firm.office, **SODA)

    def fail(**_: Any) -> None:
        raise ConnectionError("the trail cannot be written")

    monkeypatch.setattr(saving, "record_event", fail)
    with pytest.raises(ConnectionError):
        change_product(product=product, by=in_firm.office, active_fraction=Decimal("0.5"))

    assert Product.objects.get(pk=product.pk).active_fraction == Decimal("0.99")
    assert Batch.objects.count() == Instrument.objects.count() == 0
