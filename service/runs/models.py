"""Background work that a person can see: what was asked, by whom, how far it is, what came of it.

    queued ──► running ──► done
       ▲          │  ├───► failed      (an error that a retry cannot mend; says why in words)
       └──────────┘  └───► cancelled   (asked for by a person; the task stops at its next step)
     (worker gone silent, three times at most)

The row is the truth and the message in the queue only a nudge: a message that is lost is sent
again by ``sweep``, one that arrives twice finds the row taken.
"""

from typing import ClassVar

from django.db import models
from django.utils import timezone

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation


class RunState(models.TextChoices):
    QUEUED = "queued", "Waiting"
    RUNNING = "running", "Running"
    DONE = "done", "Done"
    FAILED = "failed", "Failed"
    CANCELLED = "cancelled", "Cancelled"


LIVE_STATES = (RunState.QUEUED, RunState.RUNNING)


class Run(OwnedByOrganisation):
    """One piece of background work."""

    task = models.CharField(max_length=100, editable=False)
    arguments = models.JSONField(default=dict, editable=False)
    # The row that it works on, by which its runs are found again.
    about = models.UUIDField(null=True, editable=False)
    title = models.CharField(max_length=200)
    state = models.CharField(max_length=10, choices=RunState, default=RunState.QUEUED)
    progress_done = models.PositiveIntegerField(default=0)
    progress_total = models.PositiveIntegerField(default=0)
    doing = models.CharField(max_length=200, blank=True)
    attempt = models.PositiveSmallIntegerField(default=0)
    error = models.TextField(blank=True)
    asked_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)
    # When it was queued, or when the worker that has it last gave a sign of life.
    seen_at = models.DateTimeField(default=timezone.now)
    # A message not taken up by then counts as lost, and the sweep sends another.
    send_again_at = models.DateTimeField(default=timezone.now)
    finished_at = models.DateTimeField(null=True)
    cancel_asked = models.BooleanField(default=False)

    class Meta:
        ordering: ClassVar = ["-created_at"]
        indexes: ClassVar = [
            models.Index(fields=["organisation", "-created_at"], name="run_by_time"),
            models.Index(fields=["organisation", "about"], name="run_about"),
            models.Index(fields=["state", "seen_at"], name="run_stale"),
            models.Index(fields=["state", "send_again_at"], name="run_unsent"),
        ]
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(state__in=RunState.values), name="run_state_is_known"),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def is_live(self) -> bool:
        return self.state in LIVE_STATES
