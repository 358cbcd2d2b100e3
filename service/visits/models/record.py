"""The signed record of a visit, and its corrections."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils import timezone

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from service.visits.models.visit import Visit


class Record(OwnedByOrganisation):
    """The signed record of a visit: canonical JSON and its digest. Takes no change, ever.

    Names and signature images stand in ``content`` only as salted commitments; the words
    themselves are in ``PersonalDatum``, which can be erased while the digest still verifies.
    ``sequence`` and ``previous_digest`` are filled when records are chained.
    """

    visit = models.OneToOneField(Visit, on_delete=models.PROTECT, related_name="record")
    content = models.JSONField()
    canonical = models.TextField()
    digest = models.CharField(max_length=64)
    sequence = models.PositiveBigIntegerField(null=True)
    previous_digest = models.CharField(max_length=64, blank=True)
    signed_at = models.DateTimeField()
    signed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar = ["-signed_at"]
        indexes: ClassVar = [
            models.Index(fields=["organisation", "-signed_at"], name="record_by_time"),
            models.Index(fields=["organisation", "digest"], name="record_by_digest"),
        ]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "sequence"],
                condition=Q(sequence__isnull=False),
                name="record_sequence_once",
            ),
        ]

    def __str__(self) -> str:
        return self.digest[:12]


class PersonalDatum(OwnedByOrganisation):
    """What a commitment in a record stands for: sha256(salt + value). Erasable."""

    record = models.ForeignKey(Record, on_delete=models.PROTECT, related_name="personal_data")
    name = models.CharField(max_length=40)
    salt = models.CharField(max_length=64)
    value = models.TextField()
    erased_at = models.DateTimeField(null=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["record", "name"], name="one_datum_per_name"),
        ]

    def __str__(self) -> str:
        return self.name


class Amendment(OwnedByOrganisation):
    """A correction of a signed record: a new row that names what it corrects, and why."""

    record = models.ForeignKey(Record, on_delete=models.PROTECT, related_name="amendments")
    corrects = models.CharField("what is corrected", max_length=200)
    was = models.CharField("it said", max_length=400)
    becomes = models.CharField("it should say", max_length=400)
    reason = models.CharField("why", max_length=400)
    made_at = models.DateTimeField(default=timezone.now, editable=False)
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", editable=False)

    class Meta:
        ordering: ClassVar = ["made_at"]

    def __str__(self) -> str:
        return self.corrects
