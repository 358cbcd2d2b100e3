"""Clients, their sites, and the spas at them."""

from functools import partial
from typing import Any, ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models, transaction
from django.utils import timezone

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from accounts.sealed import SealedTextField
from service.chemistry.substances import SUBSTANCES


class ClientKind(models.TextChoices):
    LET = "let", "Holiday let"
    PRIVATE = "private", "Private garden"
    HOTEL = "hotel", "Hotel"
    GYM = "gym", "Gym or club"


class Client(OwnedByOrganisation):
    """Who pays. Has one or more sites."""

    name = models.CharField("name", max_length=120)
    reference = models.CharField("reference", max_length=40, blank=True)
    kind = models.CharField("kind", max_length=10, choices=ClientKind, default=ClientKind.LET)
    contact_name = models.CharField("contact", max_length=120, blank=True)
    email = models.EmailField("e-mail", blank=True)
    phone = models.CharField("telephone", max_length=40, blank=True)
    notes = models.TextField("notes", blank=True, max_length=4000)
    guideline_id = models.CharField("guideline", max_length=60, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering: ClassVar = ["name", "id"]
        indexes: ClassVar = [models.Index(fields=["organisation", "archived_at", "name"], name="client_list")]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "reference"],
                condition=~models.Q(reference=""),
                name="client_reference_once",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ClientAccess(OwnedByOrganisation):
    """A rental manager sees this client's sites; without a row, nothing."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="client_accesses")
    client = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="accesses")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["person", "client"], name="one_access_per_client"),
        ]

    def __str__(self) -> str:
        return f"{self.person_id} sees {self.client_id}"


class Site(OwnedByOrganisation):
    """A place with one or more spas, and what a technician needs at its gate."""

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="sites")
    name = models.CharField("name", max_length=120)
    reference = models.CharField("reference", max_length=40, blank=True)
    address = models.TextField("address", max_length=400, blank=True)
    latitude = models.DecimalField(
        "latitude",
        max_digits=9,
        decimal_places=6,
        null=True,
        blank=True,
        validators=[MinValueValidator(-90), MaxValueValidator(90)],
    )
    longitude = models.DecimalField(
        "longitude",
        max_digits=9,
        decimal_places=6,
        null=True,
        blank=True,
        validators=[MinValueValidator(-180), MaxValueValidator(180)],
    )
    access_code = SealedTextField("gate or key-safe code", blank=True, max_length=200)
    access_notes = SealedTextField("how to get in", blank=True, max_length=2000)
    parking = models.CharField("parking", max_length=200, blank=True)
    breaker = models.CharField("breaker", max_length=200, blank=True)
    tap = models.CharField("tap", max_length=200, blank=True)
    contact_name = models.CharField("contact at the site", max_length=120, blank=True)
    contact_phone = models.CharField("telephone at the site", max_length=40, blank=True)
    guideline_id = models.CharField("guideline", max_length=60, blank=True)
    # Readings of the supply water, as the chemistry names them: {"total_alkalinity_mg_l": 95, …}
    supply_water = models.JSONField("supply water", default=dict, blank=True)
    supply_water_tested_on = models.DateField("supply water tested on", null=True, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering: ClassVar = ["name", "id"]
        indexes: ClassVar = [models.Index(fields=["organisation", "archived_at", "name"], name="site_list")]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "reference"],
                condition=~models.Q(reference=""),
                name="site_reference_once",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """Refuse half a position. Raises ValidationError at the missing half."""
        super().clean()
        for here, other in (("latitude", "longitude"), ("longitude", "latitude")):
            if getattr(self, here) is None and getattr(self, other) is not None:
                raise ValidationError({here: f"A position needs both: the {here} is missing."})


class VolumeBasis(models.TextChoices):
    PLATE = "plate", "Maker's plate"
    MEASURED = "measured", "Measured"
    GUESS = "guess", "Guess"


class Shell(models.TextChoices):
    ACRYLIC = "acrylic", "Acrylic"
    WOOD = "wood", "Wood"
    VINYL = "vinyl", "Vinyl"
    STAINLESS_STEEL = "stainless_steel", "Stainless steel"


class Sanitiser(models.TextChoices):
    CHLORINE = "chlorine", "Chlorine"
    BROMINE = "bromine", "Bromine"
    OTHER = "other", "Other (recorded, never dosed)"


class Setting(models.TextChoices):
    OUTDOOR = "outdoor", "Outdoor"
    INDOOR = "indoor", "Indoor"


class Feeder(models.TextChoices):
    NONE = "none", "None"
    FLOATER = "floater", "Floating feeder"
    INLINE = "inline", "Feeder in the pipework"
    AUTOMATIC = "automatic", "Automatic controller"


class Spa(OwnedByOrganisation):
    """One tub: what the chemistry and the technician must know of it."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="spas")
    name = models.CharField("name", max_length=120)
    reference = models.CharField("reference", max_length=40, blank=True)
    volume_l = models.PositiveIntegerField(
        "volume in litres", validators=[MinValueValidator(100), MaxValueValidator(20000)]
    )
    volume_basis = models.CharField(
        "how the volume is known", max_length=10, choices=VolumeBasis, default=VolumeBasis.GUESS
    )
    shell = models.CharField("shell", max_length=16, choices=Shell, default=Shell.ACRYLIC)
    sanitiser = models.CharField("sanitiser", max_length=10, choices=Sanitiser, default=Sanitiser.CHLORINE)
    setting = models.CharField("setting", max_length=8, choices=Setting, default=Setting.OUTDOOR)
    feeder = models.CharField("feeder", max_length=10, choices=Feeder, default=Feeder.NONE)
    set_temperature_c = models.DecimalField(
        "set temperature in °C",
        max_digits=4,
        decimal_places=1,
        default=38,
        validators=[MinValueValidator(5), MaxValueValidator(40)],
    )
    heater_kw = models.DecimalField(
        "heater in kW",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )
    fill_l_per_minute = models.DecimalField(
        "fill rate in L/min",
        max_digits=5,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(500)],
    )
    filtration = models.CharField("filtration", max_length=120, blank=True)
    ozone_or_uv = models.CharField("ozone or UV", max_length=60, blank=True)
    cover = models.CharField("cover and lifter", max_length=120, blank=True)
    bather_capacity = models.PositiveSmallIntegerField(
        "bather limit", null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(60)]
    )
    commissioned_on = models.DateField("commissioned on", null=True, blank=True)
    # Substances that the maker's care sheet or warranty excludes, by their chemistry id.
    forbidden_substances = models.JSONField("products the maker excludes", default=list, blank=True)
    warranty_note = models.CharField("maker's note", max_length=400, blank=True)
    guideline_id = models.CharField("guideline", max_length=60, blank=True)
    notes = models.TextField("notes", blank=True, max_length=4000)
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering: ClassVar = ["name", "id"]
        indexes: ClassVar = [models.Index(fields=["organisation", "archived_at", "name"], name="spa_list")]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "reference"],
                condition=~models.Q(reference=""),
                name="spa_reference_once",
            ),
            models.CheckConstraint(
                condition=models.Q(volume_l__gte=100, volume_l__lte=20000), name="spa_volume_in_range"
            ),
            models.CheckConstraint(
                condition=models.Q(sanitiser__in=Sanitiser.values), name="spa_sanitiser_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """Refuse a forbidden substance that the chemistry does not know."""
        super().clean()
        if unknown := sorted(set(self.forbidden_substances) - SUBSTANCES.keys()):
            raise ValidationError({"forbidden_substances": f"{', '.join(unknown)} is not a known product."})

    def guideline_in_force(self) -> str:
        """The guideline id of this spa: its own, else its site's, its client's, the firm's.

        Needs ``site__client`` and ``organisation`` loaded.
        """
        return (
            self.guideline_id
            or self.site.guideline_id
            or self.site.client.guideline_id
            or self.organisation.guideline_id
        )


def spa_photo_path(photo: "SpaPhoto", _: str) -> str:
    return f"{photo.organisation_id}/spas/{photo.pk}.jpg"


class SpaPhoto(OwnedByOrganisation):
    """A picture of the tub, its plate, breaker or gate. Re-encoded on the way in, without metadata."""

    spa = models.ForeignKey(Spa, on_delete=models.CASCADE, related_name="photos")
    file = models.ImageField("photo", upload_to=spa_photo_path)
    caption = models.CharField("caption", max_length=200, blank=True)
    taken_at = models.DateTimeField(default=timezone.now)
    added_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", editable=False)

    class Meta:
        ordering: ClassVar = ["-taken_at", "id"]

    def __str__(self) -> str:
        return self.caption or "Photo"

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        # The file goes when the row is surely gone: a rollback must not leave a row without its file.
        transaction.on_commit(partial(self.file.storage.delete, str(self.file)))
        return super().delete(*args, **kwargs)
