"""Drives whose length the office knows better than the map."""

from decimal import Decimal
from typing import ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from service.rounds.models.roster import TechnicianBase
from service.sites.models import Site

MOST_DRIVE_MINUTES = 600
MOST_DRIVE_KM = 1000


class HandDrive(OwnedByOrganisation):
    """How long the drive between two places takes, entered by hand; the same in both directions.

    The other end is another site, or where a technician's days begin. A pair stands once.
    km  None: as the source of driving times says, else along a straight line.
    """

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="+")
    other_site = models.ForeignKey(Site, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    other_base = models.ForeignKey(
        TechnicianBase, on_delete=models.CASCADE, null=True, blank=True, related_name="+"
    )
    minutes = models.PositiveSmallIntegerField(
        "minutes",
        validators=[
            MinValueValidator(1, "A drive takes at least 1 minute."),
            MaxValueValidator(MOST_DRIVE_MINUTES, f"A drive takes at most {MOST_DRIVE_MINUTES} minutes."),
        ],
    )
    km = models.DecimalField(
        "kilometres",
        max_digits=5,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(Decimal(MOST_DRIVE_KM))],
    )
    entered_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, null=True, editable=False, related_name="+"
    )
    entered_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        verbose_name = "drive entered by hand"
        verbose_name_plural = "drives entered by hand"
        ordering: ClassVar = ["site__name", "entered_at", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(other_site__isnull=True, other_base__isnull=False)
                | Q(other_site__isnull=False, other_base__isnull=True),
                name="hand_drive_one_other_end",
            ),
            models.UniqueConstraint(fields=["site", "other_site"], name="hand_drive_once_between_sites"),
            models.UniqueConstraint(fields=["site", "other_base"], name="hand_drive_once_from_base"),
        ]

    def __str__(self) -> str:
        return f"{self.site_id} to {self.other_site_id or self.other_base_id}, {self.minutes} min"

    def clean(self) -> None:
        """Refuse a drive that leads nowhere. Raises ValidationError by field."""
        super().clean()
        if self.other_site_id is not None and self.other_site_id == self.site_id:
            raise ValidationError({"other_site": "The other place must be another one."})
