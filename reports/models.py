"""Files that leave the house."""

from typing import ClassVar

from django.db import models
from django.utils import timezone

from accounts.ownership import OwnedByOrganisation
from service.runs.models import Run
from service.visits.models import Visit


class ReportKind(models.TextChoices):
    VISIT_RECORD = "visit_record", "Visit record"
    CLOSURE_NOTICE = "closure_notice", "Notice of closure"


def report_path(report: "ReportFile", _: str) -> str:
    return f"{report.organisation_id}/reports/{report.pk}.pdf"


class ReportFile(OwnedByOrganisation):
    """A PDF of a signed visit. Built once by a background run; a new amendment asks for a new edition."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="report_files")
    kind = models.CharField(max_length=20, choices=ReportKind)
    edition = models.PositiveSmallIntegerField(default=1)
    run = models.ForeignKey(Run, on_delete=models.PROTECT, null=True, related_name="+")
    file = models.FileField(upload_to=report_path, blank=True)
    digest = models.CharField(max_length=64, blank=True)
    pages = models.PositiveSmallIntegerField(default=0)
    asked_at = models.DateTimeField(default=timezone.now)
    built_at = models.DateTimeField(null=True)

    class Meta:
        ordering: ClassVar = ["-asked_at"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["visit", "kind", "edition"], name="one_file_per_edition"),
            models.CheckConstraint(
                condition=models.Q(built_at__isnull=True, file="")
                | models.Q(built_at__isnull=False) & ~models.Q(file=""),
                name="report_built_has_file",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, edition {self.edition}"
