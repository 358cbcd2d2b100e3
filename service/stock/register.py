"""Adding, changing and archiving products, batches and instruments, and what is kept at a site."""

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action
from service.sites.models import Site
from service.sites.saving import add_row, archive_row, change_row, restore_row
from service.stock.models import Batch, Instrument, Product, SiteProduct

_NAME_ONCE: Mapping[str, tuple[str, ...]] = {"name": ()}
_CODE_ONCE: Mapping[str, tuple[str, ...]] = {"code": ("product",)}
# What a dose is worked out from: the audit trail keeps the old and the new value.
_DOSED_FROM = (
    "substance",
    "active_fraction",
    "form",
    "density_g_ml",
    "unit_mass_g",
    "label_wait_minutes",
    "label_max_g_per_m3",
)


def add_product(*, by: Person, **fields: Any) -> Product:
    """A new product. ``fields``: values of Product's own fields, strength as a fraction.

    Raises NotAllowed; ValidationError by field.
    """
    require(by, Action.EDIT_STOCK)
    product = Product(organisation=by.organisation, **fields)
    return add_row(product, action="product.added", by=by, only_one=_NAME_ONCE)


def change_product(*, product: Product, by: Person, **fields: Any) -> Product:
    """New values of a product: they count from the next decision on.

    Raises NotAllowed; ValidationError by field.
    """
    require(by, Action.EDIT_STOCK)
    return change_row(
        product, fields, action="product.changed", by=by, only_one=_NAME_ONCE, figures=_DOSED_FROM
    )


def add_batch(*, product: Product, by: Person, **fields: Any) -> Batch:
    """A new delivery of ``product``. Raises NotAllowed; ValidationError by field."""
    require(by, Action.EDIT_STOCK)
    batch = Batch(organisation=by.organisation, product=product, **fields)
    return add_row(batch, action="batch.added", by=by, only_one=_CODE_ONCE)


def change_batch(*, batch: Batch, by: Person, **fields: Any) -> Batch:
    """New values of a batch. Raises NotAllowed; ValidationError by field."""
    require(by, Action.EDIT_STOCK)
    figures = ("code", "expires_on")
    return change_row(batch, fields, action="batch.changed", by=by, only_one=_CODE_ONCE, figures=figures)


def add_instrument(*, by: Person, **fields: Any) -> Instrument:
    """A new instrument. Raises NotAllowed; ValidationError by field."""
    require(by, Action.EDIT_STOCK)
    return add_row(Instrument(organisation=by.organisation, **fields), action="instrument.added", by=by)


def change_instrument(*, instrument: Instrument, by: Person, **fields: Any) -> Instrument:
    """New values of an instrument, such as its last check. Raises NotAllowed; ValidationError by field."""
    require(by, Action.EDIT_STOCK)
    figures = ("checked_on", "check_due_on", "reagent_lot", "reagent_expires_on", "plus_minus")
    return change_row(instrument, fields, action="instrument.changed", by=by, figures=figures)


def archive(*, row: Product | Batch | Instrument, by: Person) -> None:
    """Take out of use: no treatment, dose or reading offers it any more. Raises NotAllowed."""
    require(by, Action.EDIT_STOCK)
    archive_row(row, by=by)


def restore(*, row: Product | Batch | Instrument, by: Person) -> None:
    """Bring back into use. Raises NotAllowed."""
    require(by, Action.EDIT_STOCK)
    restore_row(row, by=by)


def keep_at_site(*, site: Site, product: Product, note: str, by: Person) -> SiteProduct:
    """Note that ``product`` is kept at ``site``. Raises NotAllowed; ValidationError by field."""
    require(by, Action.EDIT_STOCK)
    if SiteProduct.objects.filter(site=site, product=product).exists():
        raise ValidationError({"product": f"{product} is already noted here."})
    kept = SiteProduct(organisation=by.organisation, site=site, product=product, note=note)
    return add_row(kept, action="site.product_kept", by=by)


@transaction.atomic
def no_longer_at_site(*, kept: SiteProduct, by: Person) -> None:
    """Take the note away again. Raises NotAllowed."""
    require(by, Action.EDIT_STOCK)
    detail = {"site": str(kept.site_id), "product": str(kept.product_id)}
    record_event(action="site.product_gone", subject=kept, by=by, detail=detail)
    kept.delete()
