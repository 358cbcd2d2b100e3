"""What was seen and read at a visit, and what the water was given."""

from decimal import Decimal
from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from service.stock.models import Batch, Instrument, Method, Product
from service.visits.models.visit import Visit


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
        indexes: ClassVar = [
            models.Index(fields=["visit", "parameter"], name="reading_by_parameter"),
            models.Index(fields=["organisation", "parameter", "taken_at"], name="reading_by_time"),
        ]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["visit", "parameter", "moment"],
                condition=Q(governs=True),
                name="one_reading_governs",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.parameter} {self.value}"


class WithdrawnReading(OwnedByOrganisation):
    """A reading that was typed by mistake and taken back. It is judged nowhere; ``figure`` is as typed."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="withdrawn_readings")
    parameter = models.CharField(max_length=40)
    moment = models.CharField(max_length=6, choices=Moment)
    figure = models.CharField(max_length=45)
    taken_at = models.DateTimeField()
    reason = models.CharField("why it was taken back", max_length=400)
    withdrawn_at = models.DateTimeField(default=timezone.now)
    withdrawn_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar = ["withdrawn_at", "id"]

    def __str__(self) -> str:
        return f"{self.parameter} {self.figure}"


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
