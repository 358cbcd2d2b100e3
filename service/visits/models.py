"""Visits and everything that is written down at one: readings, steps, tasks, photos, closures.

A visit is one spa. A *stop* is not a row: it is the visits of one person at one site on one day.
A signed visit, and every row under it, is frozen by code and by database trigger (``apps.py``);
what has to be corrected afterwards is an ``Amendment``.
"""

from decimal import Decimal
from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from service.sites.models import Spa
from service.stock.models import Batch, Instrument, Method, Product


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
        ]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(state__in=VisitState.values), name="visit_state_is_known"),
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


class Answer(models.TextChoices):
    YES = "yes", "Yes"
    NO = "no", "No"
    NOT_LOOKED = "not_looked", "Not looked at"


class InspectionAnswer(OwnedByOrganisation):
    """One line of the inspection. ``item`` is a key of ``inspection.ITEMS``."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="inspection")
    item = models.CharField(max_length=30)
    answer = models.CharField(max_length=10, choices=Answer)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering: ClassVar = ["item"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["visit", "item"], name="one_answer_per_item"),
        ]

    def __str__(self) -> str:
        return f"{self.item}: {self.answer}"


class Moment(models.TextChoices):
    BEFORE = "before", "Before dosing"
    AFTER = "after", "After dosing"


class Bound(models.TextChoices):
    BELOW = "<", "below what the test can read"
    ABOVE = ">", "above what the test can read"


class Reading(OwnedByOrganisation):
    """One test of the water. Kept as typed and in the parameter's own unit.

    Of several readings of one parameter at one moment, the one that governs is judged; the others
    stay on the record.
    """

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="readings")
    parameter = models.CharField(max_length=40)
    moment = models.CharField(max_length=6, choices=Moment, default=Moment.BEFORE)
    typed = models.CharField(max_length=20)
    typed_unit = models.CharField(max_length=20)
    # In the unit of the parameter's name, dilution applied: what is judged.
    value = models.DecimalField(max_digits=12, decimal_places=4)
    bound = models.CharField(max_length=1, choices=Bound, blank=True)
    dilution_factor = models.DecimalField(
        max_digits=5,
        decimal_places=2,
        default=Decimal(1),
        validators=[MinValueValidator(1), MaxValueValidator(100)],
    )
    method = models.CharField(max_length=12, choices=Method, blank=True)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, null=True, blank=True)
    plus_minus = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    converted_from = models.CharField(max_length=40, blank=True)
    taken_at = models.DateTimeField(default=timezone.now)
    governs = models.BooleanField(default=True)
    taken_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar = ["taken_at", "id"]
        indexes: ClassVar = [models.Index(fields=["visit", "parameter"], name="reading_by_parameter")]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["visit", "parameter", "moment"],
                condition=Q(governs=True),
                name="one_reading_governs",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.parameter} {self.value}"


class Decision(OwnedByOrganisation):
    """What the engine was asked and what it answered. The newest one stands."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="decisions")
    moment = models.CharField(max_length=6, choices=Moment)
    request = models.JSONField()
    response = models.JSONField()
    engine_version = models.CharField(max_length=64)
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["-made_at", "-id"]

    def __str__(self) -> str:
        return f"Decision of {self.made_at:%Y-%m-%d %H:%M}"


class StepState(models.TextChoices):
    PLANNED = "planned", "To do"
    DONE = "done", "Done"
    SKIPPED = "skipped", "Skipped"


class TreatmentStep(OwnedByOrganisation):
    """One step of the treatment: a dose, a water replacement, a wait, a retest.

    ``planned`` is the engine's step as answered. A dose keeps the amount planned and the amount
    really added.
    """

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="steps")
    decision = models.ForeignKey(Decision, on_delete=models.PROTECT, related_name="steps")
    order = models.PositiveSmallIntegerField()
    action = models.CharField(max_length=20)
    planned = models.JSONField()
    product = models.ForeignKey(Product, on_delete=models.PROTECT, null=True)
    planned_mass_g = models.DecimalField(max_digits=10, decimal_places=2, null=True)
    actual_mass_g = models.DecimalField(
        max_digits=10,
        decimal_places=2,
        null=True,
        validators=[MinValueValidator(0), MaxValueValidator(100000)],
    )
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, null=True, blank=True)
    state = models.CharField(max_length=8, choices=StepState, default=StepState.PLANNED)
    reason = models.CharField(max_length=400, blank=True)
    done_at = models.DateTimeField(null=True)
    wait_until = models.DateTimeField(null=True)
    done_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering: ClassVar = ["decision__made_at", "order"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["decision", "order"], name="one_step_per_order"),
            models.CheckConstraint(
                condition=~Q(state=StepState.DONE) | Q(done_at__isnull=False), name="step_done_has_time"
            ),
            models.CheckConstraint(
                condition=~Q(state=StepState.SKIPPED) | ~Q(reason=""), name="step_skipped_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"Step {self.order}: {self.action}"


class TaskKind(models.TextChoices):
    FILTER_RINSE = "filter_rinse", "Rinse the filter"
    FILTER_SOAK = "filter_soak", "Soak the filter"
    FILTER_SWAP = "filter_swap", "Swap the filter"
    LINE_PURGE = "line_purge", "Purge the lines"
    DRAIN_REFILL = "drain_refill", "Drain and refill"
    CLEAN_SHELL = "clean_shell", "Clean the shell and strainers"
    COVER = "cover", "Clean and check the cover"
    FEEDER = "feeder", "Check and load the feeder"


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
    # Ticked lines of a task that has a sequence, by key, with their time.
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
    file = models.ImageField("photo", upload_to=visit_photo_path)
    digest = models.CharField(max_length=64)
    about = models.CharField("shows", max_length=30, blank=True)
    caption = models.CharField("caption", max_length=200, blank=True)
    taken_at = models.DateTimeField(default=timezone.now)
    taken_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar = ["taken_at", "id"]

    def __str__(self) -> str:
        return self.caption or "Photo"


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
        indexes: ClassVar = [models.Index(fields=["organisation", "-signed_at"], name="record_by_time")]
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
