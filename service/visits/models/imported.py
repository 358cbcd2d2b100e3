"""Readings from before: brought in from a list, kept as history and as nothing else."""

from typing import ClassVar

from django.db import models
from django.utils import timezone

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from service.sites.models import Spa
from service.stock.models import Method


class ImportedReading(OwnedByOrganisation):
    """What a list says a spa once read. Nobody signed it, so it is never judged and opens no spa.

    It belongs to no visit: verdict, fitness, closures and records look at readings of visits only.
    """

    spa = models.ForeignKey(Spa, on_delete=models.PROTECT, related_name="imported_readings")
    parameter = models.CharField(max_length=40)
    taken_at = models.DateTimeField()
    typed = models.CharField(max_length=20)
    typed_unit = models.CharField(max_length=20, blank=True)
    # In the unit of the parameter's name.
    value = models.DecimalField(max_digits=12, decimal_places=4)
    bound = models.CharField(max_length=1, blank=True)
    method = models.CharField(max_length=12, choices=Method, blank=True)
    # The list it came from: its key, as lists stand above this room, and its name.
    list_key = models.UUIDField(db_index=True)
    list_name = models.CharField(max_length=200)
    imported_at = models.DateTimeField(default=timezone.now)
    imported_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar = ["taken_at", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["spa", "parameter", "taken_at"], name="imported_reading_once"),
        ]

    def __str__(self) -> str:
        return f"{self.parameter} {self.value}"
