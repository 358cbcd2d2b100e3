"""The visit itself: one spa, one person, one time, and the state it is in."""

from typing import ClassVar

from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from service.sites.models import Spa


class VisitState(models.TextChoices):
    """planned → on site → signed; or ended without signing, each with a reason."""

    PLANNED = "planned", "Planned"
    ON_SITE = "on_site", "On site"
    SIGNED = "signed", "Signed"
    PART_DONE = "part_done", "Part done, returns today"
    NO_ACCESS = "no_access", "No access"
    BATHERS = "bathers", "Bathers in the water"
    REFUSED = "refused", "Refused at the door"
    MISSED = "missed", "Missed"
    HANDED_OVER = "handed_over", "Handed to someone else"
    CANCELLED = "cancelled", "Cancelled"


OPEN_STATES = (VisitState.PLANNED, VisitState.ON_SITE, VisitState.PART_DONE)
ENDED_WITHOUT_SIGNING = (
    VisitState.NO_ACCESS,
    VisitState.BATHERS,
    VisitState.REFUSED,
    VisitState.MISSED,
    VisitState.HANDED_OVER,
    VisitState.CANCELLED,
)


class VisitKind(models.TextChoices):
    ROUND = "round", "On the round"
    CALL_OUT = "call_out", "Call-out"
    RETEST = "retest", "Retest"


class Verdict(models.TextChoices):
    FIT_NOW = "fit_now", "Fit for use"
    FIT_FROM = "fit_from", "Fit for use from a time"
    CLOSED_UNTIL_RETEST = "closed_until_retest", "Closed until a retest"


class Visit(OwnedByOrganisation):
    """One spa, one person, one time."""

    spa = models.ForeignKey(Spa, on_delete=models.PROTECT, related_name="visits")
    technician = models.ForeignKey(
        Person, on_delete=models.PROTECT, null=True, blank=True, related_name="visits"
    )
    kind = models.CharField("kind", max_length=10, choices=VisitKind, default=VisitKind.ROUND)
    planned_on = models.DateField("day")
    window_from = models.TimeField("not before", null=True, blank=True)
    window_to = models.TimeField("not after", null=True, blank=True)
    sequence = models.PositiveSmallIntegerField("place in the round", default=0)
    instructions = models.TextField("what to do", blank=True, max_length=2000)
    changeover = models.BooleanField("changeover between guests", default=False)
    bathers_expected = models.PositiveSmallIntegerField(
        "bathers expected before the next visit", null=True, blank=True, validators=[MaxValueValidator(500)]
    )
    state = models.CharField(max_length=12, choices=VisitState, default=VisitState.PLANNED, editable=False)
    end_reason = models.CharField("reason", max_length=400, blank=True, editable=False)
    started_at = models.DateTimeField(null=True, editable=False)
    ended_at = models.DateTimeField(null=True, editable=False)
    # What the record says at the end; empty until signed.
    verdict = models.CharField(max_length=20, choices=Verdict, blank=True, editable=False)
    fit_from = models.DateTimeField(null=True, editable=False)
    holds_until = models.DateTimeField(null=True, editable=False)
    # The oldest of the readings that the verdict rests on.
    tested_at = models.DateTimeField(null=True, editable=False)
    retest_by = models.CharField("who retests", max_length=120, blank=True)
    retest_due = models.DateTimeField("retest due", null=True, blank=True)
    note_to_owner = models.TextField("note to the owner", blank=True, max_length=2000)
    # Rises with every change, so that two people editing one visit are told of each other.
    revision = models.PositiveIntegerField(default=0, editable=False)
    planned_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, null=True, editable=False, related_name="+"
    )
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering: ClassVar = ["planned_on", "sequence", "window_from", "id"]
        indexes: ClassVar = [
            models.Index(fields=["organisation", "planned_on", "technician"], name="visit_by_day"),
            models.Index(fields=["spa", "-planned_on"], name="visit_by_spa"),
            models.Index(fields=["spa", "state", "-ended_at"], name="visit_last_signed"),
            models.Index(fields=["organisation", "state", "planned_on"], name="visit_by_state"),
            models.Index(fields=["organisation", "verdict", "planned_on"], name="visit_by_verdict"),
        ]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(state__in=VisitState.values), name="visit_state_is_known"),
            models.UniqueConstraint(
                fields=["spa"], condition=Q(state=VisitState.ON_SITE), name="one_visit_on_site_per_spa"
            ),
            models.CheckConstraint(
                condition=Q(window_from__isnull=True)
                | Q(window_to__isnull=True)
                | Q(window_to__gt=F("window_from")),
                name="visit_window_opens_before_it_closes",
            ),
            models.CheckConstraint(
                condition=~Q(state=VisitState.SIGNED) | (Q(ended_at__isnull=False) & ~Q(verdict="")),
                name="visit_signed_has_time_and_verdict",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=ENDED_WITHOUT_SIGNING) | ~Q(end_reason=""),
                name="visit_ended_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.spa_id} on {self.planned_on}"

    @property
    def is_open(self) -> bool:
        return self.state in OPEN_STATES
