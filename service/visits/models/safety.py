"""What keeps people out of a spa: defects and closures."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils import timezone

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from service.sites.models import Spa
from service.visits.models.visit import Visit


class Severity(models.TextChoices):
    DANGER = "danger", "Closes the spa"
    SOON = "soon", "Mend soon"
    MINOR = "minor", "When convenient"


class WhoPays(models.TextChoices):
    UNKNOWN = "unknown", "Not settled"
    OWNER = "owner", "Owner"
    FIRM = "firm", "Us"
    WARRANTY = "warranty", "Maker's warranty"


class Consent(models.TextChoices):
    NOT_NEEDED = "not_needed", "Not needed"
    WAITING = "waiting", "Waiting for a yes"
    GIVEN = "given", "Given"
    REFUSED = "refused", "Refused"


class Defect(OwnedByOrganisation):
    """Something wrong with a spa: found at a visit, open until somebody closes it."""

    spa = models.ForeignKey(Spa, on_delete=models.PROTECT, related_name="defects")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, related_name="defects")
    item = models.CharField(max_length=30, blank=True)
    description = models.CharField("what is wrong", max_length=400)
    severity = models.CharField("how bad", max_length=8, choices=Severity, default=Severity.SOON)
    who_pays = models.CharField("who pays", max_length=10, choices=WhoPays, default=WhoPays.UNKNOWN)
    consent = models.CharField("owner's consent", max_length=12, choices=Consent, default=Consent.NOT_NEEDED)
    due_on = models.DateField("mend by", null=True, blank=True)
    found_at = models.DateTimeField(default=timezone.now, editable=False)
    found_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", editable=False)
    closed_at = models.DateTimeField(null=True, editable=False)
    closed_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, null=True, related_name="+", editable=False
    )
    closing_note = models.CharField("how it was settled", max_length=400, blank=True)

    class Meta:
        ordering: ClassVar = ["-found_at"]
        indexes: ClassVar = [models.Index(fields=["organisation", "closed_at"], name="defect_open")]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=(Q(closed_at__isnull=True) & Q(closed_by__isnull=True))
                | (Q(closed_at__isnull=False) & Q(closed_by__isnull=False)),
                name="defect_closed_at_and_by",
            ),
        ]

    def __str__(self) -> str:
        return self.description


class Closure(OwnedByOrganisation):
    """A spa that people must not use, from when and why, until a reading reopens it."""

    spa = models.ForeignKey(Spa, on_delete=models.PROTECT, related_name="closures")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, related_name="closures")
    reason = models.CharField("why", max_length=600)
    findings = models.JSONField(default=list)
    closed_at = models.DateTimeField(default=timezone.now)
    closed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    # When somebody last gave a reason to keep it closed: only a later reading can reopen it.
    renewed_at = models.DateTimeField(default=timezone.now)
    reopened_at = models.DateTimeField(null=True)
    reopened_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    # The visit whose readings met the guideline: a closure never ends without one.
    reopened_visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, related_name="reopenings")

    class Meta:
        ordering: ClassVar = ["-closed_at"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["spa"], condition=Q(reopened_at__isnull=True), name="one_open_closure_per_spa"
            ),
            models.CheckConstraint(
                condition=Q(reopened_at__isnull=True, reopened_visit__isnull=True, reopened_by__isnull=True)
                | Q(reopened_at__isnull=False, reopened_visit__isnull=False, reopened_by__isnull=False),
                name="closure_reopened_by_a_reading",
            ),
        ]

    def __str__(self) -> str:
        return self.reason
