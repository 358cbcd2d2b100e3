"""Jobs beside the water, photos, and what is typed and not yet saved."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils import timezone

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from service.visits.models.visit import Visit


class TaskKind(models.TextChoices):
    FILTER_RINSE = "filter_rinse", "Rinse the filter"
    FILTER_SOAK = "filter_soak", "Soak the filter"
    FILTER_SWAP = "filter_swap", "Swap the filter"
    LINE_PURGE = "line_purge", "Purge the lines"
    DRAIN_REFILL = "drain_refill", "Drain and refill"
    CLEAN_SHELL = "clean_shell", "Clean the shell and strainers"
    COVER = "cover", "Clean and check the cover"
    FEEDER = "feeder", "Check and load the feeder"
    LAB_SAMPLE = "lab_sample", "Take a laboratory sample"


class TaskState(models.TextChoices):
    DUE = "due", "To do"
    DONE = "done", "Done"
    NOT_DONE = "not_done", "Not done"


class Task(OwnedByOrganisation):
    """A job beside the water. A drain and refill keeps the steps of the fresh-fill sequence."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="tasks")
    kind = models.CharField("task", max_length=14, choices=TaskKind)
    why = models.CharField("why now", max_length=300, blank=True)
    state = models.CharField(max_length=8, choices=TaskState, default=TaskState.DUE)
    done_at = models.DateTimeField(null=True)
    done_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    note = models.CharField("note", max_length=400, blank=True)
    # Ticked lines of a task that has a sequence: {key: {"at": time, "skipped": reason or ""}}.
    lines_done = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering: ClassVar = ["kind"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["visit", "kind"], name="one_task_per_kind"),
            models.CheckConstraint(
                condition=~Q(state=TaskState.DONE) | Q(done_at__isnull=False), name="task_done_has_time"
            ),
        ]

    def __str__(self) -> str:
        return self.get_kind_display()


def visit_photo_path(photo: "Photo", _: str) -> str:
    return f"{photo.organisation_id}/visits/{photo.visit_id}/{photo.pk}.jpg"


class Photo(OwnedByOrganisation):
    """A picture taken at a visit. Re-encoded on the way in, upright, without metadata."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="photos")
    file = models.ImageField("photo", upload_to=visit_photo_path, max_length=200)
    digest = models.CharField(max_length=64)
    about = models.CharField("shows", max_length=30, blank=True)
    caption = models.CharField("caption", max_length=200, blank=True)
    taken_at = models.DateTimeField(default=timezone.now)
    taken_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar = ["taken_at", "id"]

    def __str__(self) -> str:
        return self.caption or "Photo"


class Draft(OwnedByOrganisation):
    """What somebody has typed on a visit's page and not yet saved, as typed."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="drafts")
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="+")
    section = models.CharField(max_length=20)
    fields = models.JSONField(default=dict)
    saved_at = models.DateTimeField(auto_now=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["visit", "person", "section"], name="one_draft_per_section"),
        ]

    def __str__(self) -> str:
        return f"{self.section} of {self.visit_id}"
