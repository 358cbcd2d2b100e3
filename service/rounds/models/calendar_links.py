"""A technician's secret link to their own rounds, for the calendar on their phone."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils import timezone

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation


class RoundCalendarLink(OwnedByOrganisation):
    """Whoever has the secret reads the rounds; only its digest is kept. Revoked for good, or replaced."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="+")
    secret_digest = models.CharField(max_length=64, editable=False)
    made_at = models.DateTimeField(default=timezone.now, editable=False)
    revoked_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering: ClassVar = ["-made_at"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["person"], condition=Q(revoked_at__isnull=True), name="one_live_round_calendar_link"
            ),
        ]

    def __str__(self) -> str:
        return f"Calendar of {self.person_id}"
