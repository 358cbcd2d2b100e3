"""Files that leave the house."""

from typing import ClassVar

from django.db import models
from django.utils import timezone

from accounts.ownership import OwnedByOrganisation
from service.runs.models import Run
from service.visits.models import Visit


class ReportKind(models.TextChoices):
    VISIT_RECORD = "visit_record", "Visit record"
    OWNERS_COPY = "owners_copy", "Visit record without the names of staff"


def report_path(report: "ReportFile", _: str) -> str:
    return f"{report.organisation_id}/reports/{report.visit_id}-{report.kind}-{report.edition}.pdf"


class ReportFile(OwnedByOrganisation):
    """A PDF of a signed visit. Built once by a background run; a new amendment asks for a new edition.

    Edition n shows the first n - 1 amendments. Every edition stays.
    """

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="report_files")
    kind = models.CharField(max_length=20, choices=ReportKind)
    edition = models.PositiveSmallIntegerField(default=1)
    run = models.ForeignKey(Run, on_delete=models.PROTECT, null=True, related_name="+")
    file = models.FileField(upload_to=report_path, max_length=200)
    digest = models.CharField(max_length=64)
    pages = models.PositiveSmallIntegerField()
    built_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["-built_at"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["visit", "kind", "edition"], name="one_file_per_edition"),
            models.CheckConstraint(
                condition=~models.Q(file="") & ~models.Q(digest=""), name="report_has_file_and_digest"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, edition {self.edition}"
