"""A planned week: what was asked, which round everybody drives, and what found no place."""

import json
import zlib
from typing import Any, ClassVar

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from service.rounds.models.agreements import Agreement
from service.runs.models import Run
from service.sites.models import Spa
from service.visits.models import Visit


class PlanState(models.TextChoices):
    """draft → published → set aside; a draft that another replaced is set aside too."""

    DRAFT = "draft", "Draft"
    PUBLISHED = "published", "Published"
    SET_ASIDE = "set_aside", "Set aside"


class WeekPlan(OwnedByOrganisation):
    """One plan of one week. Of a week at most one is published: its visits are on people's days."""

    monday = models.DateField("week beginning", editable=False)
    state = models.CharField(max_length=10, choices=PlanState, default=PlanState.DRAFT, editable=False)
    # Why it was made: "Planned anew", "Without Bea on Tuesday 2 June".
    title = models.CharField("made for", max_length=200)
    based_on = models.ForeignKey(
        "self", on_delete=models.SET_NULL, null=True, editable=False, related_name="followers"
    )
    run = models.ForeignKey(Run, on_delete=models.PROTECT, null=True, editable=False, related_name="+")
    seconds = models.PositiveSmallIntegerField("seconds of search", default=0, editable=False)
    stopped_early = models.BooleanField(default=False, editable=False)
    travel_source = models.CharField("travel times from", max_length=60, blank=True, editable=False)
    travel_version = models.CharField(max_length=120, blank=True, editable=False)
    travel_honesty = models.CharField(max_length=400, blank=True, editable=False)
    travel_attribution = models.CharField(max_length=200, blank=True, editable=False)
    # Minutes, kilometres and counts: keys of figures.PlanFigures.
    figures = models.JSONField(default=dict, editable=False)
    # What the plan was judged by: fields of problem_of_week.RoundPrices.
    prices = models.JSONField(default=dict, editable=False)
    # Sentences for the office: [{"about": "Hillside", "text": "…"}].
    notes = models.JSONField(default=list, editable=False)
    # Rises with every change, so that two people changing one plan are told of each other.
    revision = models.PositiveIntegerField(default=0, editable=False)
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, editable=False, related_name="+")
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    published_at = models.DateTimeField(null=True, editable=False)
    published_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, null=True, editable=False, related_name="+"
    )

    class Meta:
        ordering: ClassVar = ["-monday", "-created_at"]
        indexes: ClassVar = [
            models.Index(fields=["organisation", "monday", "state", "-created_at"], name="plan_by_week"),
        ]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "monday"],
                condition=Q(state=PlanState.PUBLISHED),
                name="one_published_plan_per_week",
            ),
            models.CheckConstraint(condition=Q(state__in=PlanState.values), name="plan_state_is_known"),
            models.CheckConstraint(
                condition=~Q(state=PlanState.PUBLISHED) | Q(published_at__isnull=False),
                name="published_plan_has_time",
            ),
        ]

    def __str__(self) -> str:
        return f"Week of {self.monday.day} {self.monday:%B %Y}"

    @property
    def is_published(self) -> bool:
        return self.state == PlanState.PUBLISHED


class PlanProblem(OwnedByOrganisation):
    """The planner's request that a plan answers, for moves to reckon with. A row of its own: it is large."""

    plan = models.OneToOneField(WeekPlan, on_delete=models.CASCADE, related_name="problem")
    packed = models.BinaryField(editable=False)

    def __str__(self) -> str:
        return f"Problem of plan {self.plan_id}"

    @staticmethod
    def pack(content: dict[str, Any]) -> bytes:
        return zlib.compress(json.dumps(content, separators=(",", ":")).encode(), 6)

    @property
    def content(self) -> dict[str, Any]:
        """{"request": the planner's, "people": technician of the request -> key of the person}."""
        unpacked: dict[str, Any] = json.loads(zlib.decompress(bytes(self.packed)))
        return unpacked


class PlannedRound(OwnedByOrganisation):
    """One person's drive of one day, from where it begins to where it ends."""

    plan = models.ForeignKey(WeekPlan, on_delete=models.CASCADE, related_name="rounds")
    technician = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="planned_rounds")
    day = models.DateField()
    start_name = models.CharField("begins at", max_length=120, blank=True)
    end_name = models.CharField("ends at", max_length=120, blank=True)
    depart_at = models.DateTimeField()
    back_at = models.DateTimeField()
    back_drive_seconds = models.PositiveIntegerField(default=0)
    back_drive_metres = models.PositiveIntegerField(default=0)
    overtime_seconds = models.PositiveIntegerField(default=0)
    pause_from = models.DateTimeField(null=True)
    pause_to = models.DateTimeField(null=True)

    class Meta:
        ordering: ClassVar = ["day", "depart_at", "id"]
        indexes: ClassVar = [models.Index(fields=["plan", "day", "technician"], name="round_by_day")]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(back_at__gte=F("depart_at")), name="round_ends_after_it_begins"
            ),
        ]

    def __str__(self) -> str:
        return f"Round of {self.technician_id} on {self.day}"


class PlannedVisit(OwnedByOrganisation):
    """One visit of a plan: on a round, or without a place and then with the reason."""

    plan = models.ForeignKey(WeekPlan, on_delete=models.CASCADE, related_name="visits")
    # Of what is owed; the same from one plan of the week to the next.
    key = models.CharField(max_length=120, editable=False)
    spa = models.ForeignKey(Spa, on_delete=models.PROTECT, related_name="planned_visits")
    agreement = models.ForeignKey(
        Agreement, on_delete=models.PROTECT, null=True, editable=False, related_name="+"
    )
    why = models.CharField("owed because", max_length=200, blank=True)
    round = models.ForeignKey(PlannedRound, on_delete=models.CASCADE, null=True, related_name="stops")
    technician = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    day = models.DateField(null=True)
    sequence = models.PositiveSmallIntegerField("place in the round", default=0)
    arrive_at = models.DateTimeField(null=True)
    start_at = models.DateTimeField(null=True)
    leave_at = models.DateTimeField(null=True)
    drive_seconds = models.PositiveIntegerField(default=0)
    drive_metres = models.PositiveIntegerField(default=0)
    service_minutes = models.PositiveSmallIntegerField(default=0)
    # The hours of this day within which it is to be done, in the firm's clock time.
    window_from = models.TimeField(null=True)
    window_to = models.TimeField(null=True)
    changeover = models.BooleanField(default=False)
    optional = models.BooleanField(default=False)
    # Fixed to this person and day by hand: planning anew keeps it there.
    pinned = models.BooleanField(default=False)
    reason = models.CharField("why it has no place", max_length=600, blank=True)
    would_fit_if = models.CharField("it would have one if", max_length=600, blank=True)
    visit = models.ForeignKey(
        Visit, on_delete=models.SET_NULL, null=True, editable=False, related_name="planned_visits"
    )
    # The visit was planned by hand before: it counts, and taking the plan back leaves it.
    visit_by_hand = models.BooleanField(default=False, editable=False)

    class Meta:
        ordering: ClassVar = ["day", "technician", "sequence", "key"]
        indexes: ClassVar = [
            models.Index(fields=["plan", "day", "technician", "sequence"], name="planned_by_round"),
            models.Index(fields=["organisation", "technician", "day"], name="planned_by_person"),
        ]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["plan", "key", "day"], name="once_a_day_in_a_plan"),
            models.UniqueConstraint(
                fields=["plan", "key"], condition=Q(day__isnull=True), name="once_without_a_place"
            ),
            models.CheckConstraint(
                condition=Q(
                    day__isnull=True,
                    technician__isnull=True,
                    round__isnull=True,
                    arrive_at__isnull=True,
                    start_at__isnull=True,
                    leave_at__isnull=True,
                )
                | Q(
                    day__isnull=False,
                    technician__isnull=False,
                    round__isnull=False,
                    arrive_at__isnull=False,
                    start_at__isnull=False,
                    leave_at__isnull=False,
                ),
                name="planned_wholly_or_not_at_all",
            ),
            models.CheckConstraint(
                condition=Q(day__isnull=False) | ~Q(reason=""), name="no_place_has_a_reason"
            ),
            models.CheckConstraint(
                condition=Q(pinned=False) | Q(day__isnull=False), name="only_a_place_is_pinned"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.key} on {self.day}"
