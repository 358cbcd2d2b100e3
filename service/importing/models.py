"""Lists that were brought in: what was uploaded, what each of its rows does, and what came of it.

    reading ──► ready ──► writing ──► done ──► taken back
       │          │
       ▼          ▼
    unreadable  dropped      (by hand, or a day after the upload)

Nothing is written to the firm's data before ``writing``. The file is sealed, as it may hold gate
codes, and is deleted once the list is written or dropped; the rows with what they did stay.
"""

from typing import ClassVar

from django.db import models
from django.utils import timezone

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from accounts.sealed import SealedTextField
from service.runs.models import Run


class ListState(models.TextChoices):
    READING = "reading", "Being read"
    UNREADABLE = "unreadable", "Cannot be read"
    READY = "ready", "Waits for you"
    WRITING = "writing", "Being written"
    DONE = "done", "Imported"
    TAKEN_BACK = "taken_back", "Taken back"
    DROPPED = "dropped", "Dropped"


# Not written, and not given up: what the sweep looks at.
WAITING_STATES = (ListState.READING, ListState.UNREADABLE, ListState.READY)


def list_path(row: "ListImport", _: str) -> str:
    return f"{row.organisation_id}/lists/{row.pk}.sealed"


class ListImport(OwnedByOrganisation):
    """One uploaded list."""

    kind = models.CharField(max_length=12)
    file_name = models.CharField(max_length=200)
    file = models.FileField(upload_to=list_path, max_length=200, blank=True)
    state = models.CharField(max_length=12, choices=ListState, default=ListState.READING)
    # For text: as found or chosen; both empty for a workbook.
    encoding = models.CharField(max_length=20, blank=True)
    encoding_sure = models.BooleanField(default=True)
    delimiter = models.CharField(max_length=1, blank=True)
    delimiter_sure = models.BooleanField(default=True)
    problem = models.CharField(max_length=400, blank=True)
    # {"spa": {"new": 3, "changed": 1, "same": 0, "wrong": 0}, …}
    totals = models.JSONField(default=dict)
    # {"spa": ["a column that is not read", …]}
    left_out = models.JSONField(default=dict)
    only_good = models.BooleanField(default=False)
    run = models.ForeignKey(Run, on_delete=models.SET_NULL, null=True, related_name="+")
    uploaded_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    uploaded_at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True)

    class Meta:
        ordering: ClassVar = ["-uploaded_at", "id"]
        indexes: ClassVar = [
            models.Index(fields=["organisation", "-uploaded_at"], name="list_by_time"),
            models.Index(fields=["state", "uploaded_at"], name="list_stale"),
        ]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(state__in=ListState.values), name="list_state_is_known"
            ),
        ]

    def __str__(self) -> str:
        return self.file_name

    def count(self, effect: str) -> int:
        """How many rows of all kinds have this effect."""
        return sum(int(kind.get(effect, 0)) for kind in self.totals.values())


class Effect(models.TextChoices):
    NEW = "new", "New"
    CHANGED = "changed", "Changes"
    SAME = "same", "Stays"
    WRONG = "wrong", "Has errors"


class ListRow(OwnedByOrganisation):
    """One row of a list and what it does.

    problems  [{"column": …, "typed": …, "message": …}]; what was typed under a sealed column is left out.
    changes   [{"column": …, "old": …, "new": …}]; of a sealed column only that it changes.
    remarks   Sentences that are no errors: "Matched by its name."
    payload   Sealed JSON: {"values": {field: value}, "was": {field: value}, "parent": key or None}.
    """

    listing = models.ForeignKey(ListImport, on_delete=models.CASCADE, related_name="rows")
    kind = models.CharField(max_length=12)
    number = models.PositiveIntegerField()
    name = models.CharField(max_length=200)
    effect = models.CharField(max_length=8, choices=Effect)
    problems = models.JSONField(default=list)
    changes = models.JSONField(default=list)
    remarks = models.JSONField(default=list)
    object_id = models.UUIDField(null=True)
    payload = SealedTextField(blank=True)
    order = models.PositiveIntegerField()

    class Meta:
        ordering: ClassVar = ["order"]
        indexes: ClassVar = [
            models.Index(fields=["listing", "effect", "order"], name="list_row_by_effect"),
        ]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["listing", "order"], name="list_row_once"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} row {self.number}"
