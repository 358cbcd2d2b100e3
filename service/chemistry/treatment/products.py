"""A product is a substance with a strength, a form and what its label says."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeGuard

from service.chemistry.errors import FieldError
from service.chemistry.substances import SUBSTANCES
from service.chemistry.treatment import pairs
from service.chemistry.treatment.caps import Cap, largest_dose

FORMS: Final = ("granules", "liquid", "tablet")
SLOW_AS_TABLETS: Final = frozenset({"trichlor", "bcdmh"})
# Liquids are sold at strengths that differ tenfold, so that no default would be honest.
STRENGTH_NEEDED: Final = pairs.LIQUIDS


@dataclass(frozen=True)
class Product:
    """One product at hand.

    active_fraction      Share of the product that is the substance, > 0 to 1.
    form                 "granules", "liquid" or "tablet".
    density_g_ml         Density of a liquid, or loose bulk density of a powder, [g/mL].
    unit_mass_g          Mass of one tablet, [g].
    label_wait_minutes   From dose to bathers, as the label says, [min].
    label_max_g_per_m3   Largest single dose, as the label says, [g of product per m3].
    maker_allows         The shell's maker and the label allow it in this spa (trichlor).
    name                 What a sentence calls it; its id where it has no name.
    """

    id: str
    substance: str
    active_fraction: float
    form: str
    density_g_ml: float | None = None
    unit_mass_g: float | None = None
    label_wait_minutes: float | None = None
    label_max_g_per_m3: float | None = None
    maker_allows: bool = False
    name: str = ""

    @property
    def called(self) -> str:
        """What a sentence calls it."""
        return self.name or self.id

    @property
    def in_feeder(self) -> bool:
        """A tablet that dissolves over days in a feeder or floater: no dose for today."""
        return self.form == "tablet" and self.substance in SLOW_AS_TABLETS

    @property
    def cap(self) -> Cap:
        """The largest single dose, [g of product per m3], with its source."""
        return largest_dose(
            self.substance,
            molar_mass_g_mol=SUBSTANCES[self.substance].molar_mass_g_mol,
            active_fraction=self.active_fraction,
            label_max_g_per_m3=self.label_max_g_per_m3,
        )


def parse_products(raw: Any, *, sanitiser: str) -> tuple[tuple[Product, ...], list[FieldError]]:
    """The products of a request, and every fault found in them.

    raw   A list of objects as the contract describes them.

    >>> products, faults = parse_products([{"id": "b", "substance": "bicarb"}], sanitiser="chlorine")
    >>> faults[0].field, faults[0].message[:43]
    ('products.0.substance', "'bicarb' is no known substance; it must be ")
    """
    if not isinstance(raw, list):
        return (), [FieldError("products", "Products must be a list")]
    products: list[Product] = []
    faults: list[FieldError] = []
    for place, entry in enumerate(raw):
        path = f"products.{place}"
        found = _faults(entry, path, sanitiser, {product.id for product in products})
        faults += found
        if not found:
            products.append(_product(entry))
    return tuple(products), faults


def _product(entry: Mapping[str, Any]) -> Product:
    substance = entry["substance"]
    default_form = "liquid" if substance in pairs.LIQUIDS else "granules"
    return Product(
        id=entry["id"],
        substance=substance,
        active_fraction=float(entry.get("active_fraction") or 1.0),
        form=entry.get("form") or default_form,
        density_g_ml=_optional(entry, "density_g_ml"),
        unit_mass_g=_optional(entry, "unit_mass_g"),
        label_wait_minutes=_optional(entry, "label_wait_minutes"),
        label_max_g_per_m3=_optional(entry, "label_max_g_per_m3"),
        maker_allows=entry.get("maker_allows") is True,
        name=entry.get("name") or "",
    )


def _optional(entry: Mapping[str, Any], name: str) -> float | None:
    value = entry.get(name)
    return None if value is None else float(value)


def _faults(entry: Any, path: str, sanitiser: str, taken: Collection[str]) -> list[FieldError]:
    if not isinstance(entry, Mapping):
        return [FieldError(path, "A product must be an object with id, substance and active_fraction")]
    faults = [*_identity_faults(entry, path, taken), *_substance_faults(entry, path, sanitiser)]
    form = entry.get("form")
    if form is not None and form not in FORMS:
        faults.append(FieldError(f"{path}.form", f"Form must be one of {', '.join(FORMS)}"))
    faults += _number_faults(entry, path)
    if form == "tablet" and entry.get("unit_mass_g") is None:
        faults.append(FieldError(f"{path}.unit_mass_g", "A tablet needs the mass of one tablet, in grams"))
    return faults


def _identity_faults(entry: Mapping[str, Any], path: str, taken: Collection[str]) -> list[FieldError]:
    name = entry.get("id")
    if not isinstance(name, str) or not name:
        return [FieldError(f"{path}.id", "A product needs an id, a short text")]
    if name in taken:
        return [FieldError(f"{path}.id", f"The id {name!r} stands twice")]
    if not isinstance(entry.get("name", ""), str):
        return [FieldError(f"{path}.name", "A product's name must be a text, or left out")]
    return []


def _substance_faults(entry: Mapping[str, Any], path: str, sanitiser: str) -> list[FieldError]:
    field = f"{path}.substance"
    substance = entry.get("substance")
    if substance not in SUBSTANCES:
        return [
            FieldError(
                field, f"{substance!r} is no known substance; it must be one of {', '.join(SUBSTANCES)}"
            )
        ]
    if sanitiser == "chlorine" and substance in pairs.BROMINES:
        return [
            FieldError(
                field,
                f"{substance} is a bromine product and this spa runs on chlorine: they never meet; "
                "take it off the list or change the spa's sanitiser",
            )
        ]
    if substance in STRENGTH_NEEDED and entry.get("active_fraction") is None:
        return [FieldError(f"{path}.active_fraction", f"{substance} needs its strength, above 0 up to 1")]
    return []


def _number_faults(entry: Mapping[str, Any], path: str) -> list[FieldError]:
    limits = (
        ("active_fraction", 0.0, 1.0, "Strength must be above 0 and at most 1 (0.65 for 65 %)"),
        ("density_g_ml", 0.0, 5.0, "Density must be above 0 and at most 5 g/mL"),
        ("unit_mass_g", 0.0, 1000.0, "The mass of one tablet must be above 0 and at most 1000 g"),
        (
            "label_max_g_per_m3",
            0.0,
            10_000.0,
            "The label's largest dose must be above 0 and at most 10000 g/m3",
        ),
    )
    faults = [
        FieldError(f"{path}.{name}", message)
        for name, low, high, message in limits
        if entry.get(name) is not None and not (is_number(entry[name]) and low < entry[name] <= high)
    ]
    wait = entry.get("label_wait_minutes")
    if wait is not None and not (is_number(wait) and 0 <= wait <= 10_080):
        message = "The label's wait must be from 0 to 10080 minutes (seven days)"
        faults.append(FieldError(f"{path}.label_wait_minutes", message))
    return faults


def is_number(value: Any) -> TypeGuard[float]:
    """A finite number, and not True or False.

    >>> is_number(3), is_number("3"), is_number(float("nan"))
    (True, False, False)
    """
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
