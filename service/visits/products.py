"""Products as the engine's request holds them."""

from decimal import Decimal
from typing import Any

from service.chemistry.treatment.products import parse_products
from service.stock.models import Product


def engine_product(product: Product) -> dict[str, Any]:
    """One product in the contract's form; what its row does not know is left out."""
    known = {
        "density_g_ml": _number(product.density_g_ml),
        "unit_mass_g": _number(product.unit_mass_g),
        "label_wait_minutes": product.label_wait_minutes,
        "label_max_g_per_m3": _number(product.label_max_g_per_m3),
    }
    return {
        "id": str(product.pk),
        "name": product.name,
        "substance": product.substance,
        "active_fraction": float(product.active_fraction),
        "form": product.form,
        **{name: value for name, value in known.items() if value is not None},
    }


def usable_products(sanitiser: str) -> list[dict[str, Any]]:
    """The firm's products that may be thought of for a system; one query.

    One that the engine would not take, as a bromine product for a chlorine spa, is left out, so that
    it does not stand in the way of every decision.
    """
    products = [engine_product(product) for product in Product.objects.filter(archived_at=None)]
    return [product for product in products if not parse_products([product], sanitiser=sanitiser)[1]]


def _number(value: Decimal | None) -> float | None:
    return None if value is None else float(value)
