"""Products, their batches, and the instruments that test the water."""

from datetime import date
from typing import ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from accounts.ownership import OwnedByOrganisation
from service.chemistry.substances import SUBSTANCES
from service.sites.models import Site


class Form(models.TextChoices):
    GRANULES = "granules", "Granules or powder"
    LIQUID = "liquid", "Liquid"
    TABLET = "tablet", "Tablet"


class Product(OwnedByOrganisation):
    """Something in the van: a substance with a strength, a form and its label's own limits."""

    name = models.CharField("name", max_length=120)
    # An id of service.chemistry.substances; forms offer its list.
    substance = models.CharField("substance", max_length=60)
    active_fraction = models.DecimalField(
        "strength as a fraction",
        max_digits=6,
        decimal_places=5,
        validators=[MinValueValidator(0.00001), MaxValueValidator(1)],
    )
    form = models.CharField("form", max_length=10, choices=Form, default=Form.GRANULES)
    density_g_ml = models.DecimalField(
        "density in g/mL",
        max_digits=5,
        decimal_places=3,
        null=True,
        blank=True,
        validators=[MinValueValidator(0.2), MaxValueValidator(3)],
    )
    unit_mass_g = models.DecimalField(
        "grams per tablet",
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(0.1), MaxValueValidator(2000)],
    )
    label_wait_minutes = models.PositiveIntegerField(
        "wait on the label in minutes", null=True, blank=True, validators=[MaxValueValidator(10080)]
    )
    label_max_g_per_m3 = models.DecimalField(
        "largest dose on the label in g per m³",
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0.01), MaxValueValidator(100000)],
    )
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering: ClassVar = ["name", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["organisation", "name"], name="product_name_once"),
            models.CheckConstraint(
                condition=models.Q(active_fraction__gt=0, active_fraction__lte=1),
                name="product_strength_in_range",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """Refuse what a dose cannot be measured out with. Raises ValidationError by field."""
        super().clean()
        errors = {}
        if self.substance and self.substance not in SUBSTANCES:
            errors["substance"] = f"{self.substance} is not a known substance."
        if self.form == Form.LIQUID and self.density_g_ml is None:
            errors["density_g_ml"] = "A liquid is measured in mL: its density is needed, in g/mL."
        if self.form == Form.TABLET and self.unit_mass_g is None:
            errors["unit_mass_g"] = "Tablets are counted: the mass of one is needed, in g."
        if errors:
            raise ValidationError(errors)


class Batch(OwnedByOrganisation):
    """One delivery of a product, by the number on its label."""

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="batches")
    code = models.CharField("batch", max_length=60)
    expires_on = models.DateField("use by", null=True, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering: ClassVar = ["expires_on", "code"]
        verbose_name_plural = "batches"
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["product", "code"], name="batch_code_once"),
        ]

    def __str__(self) -> str:
        return self.code

    def is_expired(self, day: date) -> bool:
        """Whether ``day`` lies after the use-by date; a batch without one never expires."""
        return self.expires_on is not None and self.expires_on < day


class SiteProduct(OwnedByOrganisation):
    """A product that is kept at a site, for its caretaker or for us."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="products_on_site")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="kept_at")
    note = models.CharField("where, how much", max_length=200, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["site", "product"], name="site_product_once"),
        ]

    def __str__(self) -> str:
        return f"{self.product_id} at {self.site_id}"


class Method(models.TextChoices):
    STRIP = "strip", "Test strip"
    DROPS = "drops", "Drop test"
    PHOTOMETER = "photometer", "Photometer"
    ELECTRODE = "electrode", "Electrode or meter"
    LABORATORY = "laboratory", "Laboratory"


class Instrument(OwnedByOrganisation):
    """A photometer, an electrode, a drop kit or a tub of strips."""

    name = models.CharField("name", max_length=120)
    method = models.CharField("method", max_length=12, choices=Method)
    serial = models.CharField("serial number", max_length=60, blank=True)
    checked_on = models.DateField("last checked against a standard", null=True, blank=True)
    check_due_on = models.DateField("next check due", null=True, blank=True)
    reagent_lot = models.CharField("reagent or strip lot", max_length=60, blank=True)
    reagent_expires_on = models.DateField("reagent or strips use by", null=True, blank=True)
    # The instrument's own ± by parameter, from its data sheet: {"ph": "0.1"}; else the method's usual one.
    plus_minus = models.JSONField("± by parameter", default=dict, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering: ClassVar = ["name", "id"]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """Refuse a next check before the last one. Raises ValidationError at ``check_due_on``."""
        super().clean()
        if self.checked_on and self.check_due_on and self.check_due_on <= self.checked_on:
            raise ValidationError({"check_due_on": "The next check must come after the last one."})
