"""Who works when: the weekly shifts, where they begin and end, what a van carries, days off."""

from datetime import time
from decimal import Decimal
from typing import ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from service.rounds.models.agreements import WEEKDAYS, Skill

MOST_CAPACITY_KG = 5000
MOST_SHIFT_MINUTES = 1440
MOST_OVERTIME_MINUTES = 480


class Weekday(models.IntegerChoices):
    MONDAY = 0, WEEKDAYS[0]
    TUESDAY = 1, WEEKDAYS[1]
    WEDNESDAY = 2, WEEKDAYS[2]
    THURSDAY = 3, WEEKDAYS[3]
    FRIDAY = 4, WEEKDAYS[4]
    SATURDAY = 5, WEEKDAYS[5]
    SUNDAY = 6, WEEKDAYS[6]


def _latitude(words: str) -> "models.DecimalField[Decimal | None, Decimal | None]":
    return _coordinate(words, 90)


def _longitude(words: str) -> "models.DecimalField[Decimal | None, Decimal | None]":
    return _coordinate(words, 180)


def _coordinate(words: str, limit: int) -> "models.DecimalField[Decimal | None, Decimal | None]":
    return models.DecimalField(
        words,
        max_digits=9,
        decimal_places=6,
        null=True,
        blank=True,
        validators=[MinValueValidator(-limit), MaxValueValidator(limit)],
    )


class TechnicianBase(OwnedByOrganisation):
    """Where a technician's day begins and ends, what the van carries, what they can do.

    No end place: the day ends where it began.
    """

    technician = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="+")
    start_name = models.CharField("the day begins at", max_length=120)
    start_latitude = _latitude("latitude")
    start_longitude = _longitude("longitude")
    end_name = models.CharField("the day ends at", max_length=120, blank=True)
    end_latitude = _latitude("latitude of the end")
    end_longitude = _longitude("longitude of the end")
    capacity_kg = models.PositiveIntegerField(
        "the van carries, in kg",
        default=200,
        validators=[MaxValueValidator(MOST_CAPACITY_KG, f"At most {MOST_CAPACITY_KG} kg.")],
    )
    skills = models.ManyToManyField(Skill, through="TechnicianSkill", related_name="+", blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["technician"], name="one_base_per_technician"),
            models.CheckConstraint(
                condition=Q(start_latitude__isnull=True, start_longitude__isnull=True)
                | Q(start_latitude__isnull=False, start_longitude__isnull=False),
                name="base_start_whole",
            ),
            models.CheckConstraint(
                condition=Q(end_latitude__isnull=True, end_longitude__isnull=True)
                | Q(end_latitude__isnull=False, end_longitude__isnull=False),
                name="base_end_whole",
            ),
        ]

    def __str__(self) -> str:
        return self.start_name

    def clean(self) -> None:
        """Refuse half a position. Raises ValidationError at the missing half."""
        super().clean()
        for end in ("start", "end"):
            for here, other in (("latitude", "longitude"), ("longitude", "latitude")):
                if getattr(self, f"{end}_{here}") is None and getattr(self, f"{end}_{other}") is not None:
                    raise ValidationError({f"{end}_{here}": f"A position needs both: the {here} is missing."})


class TechnicianSkill(OwnedByOrganisation):
    """A skill that a technician has."""

    base = models.ForeignKey(TechnicianBase, on_delete=models.CASCADE, related_name="+")
    skill = models.ForeignKey(Skill, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["base", "skill"], name="technician_skill_once"),
        ]

    def __str__(self) -> str:
        return f"{self.base_id} can {self.skill_id}"


class Shift(OwnedByOrganisation):
    """One day of a technician's usual week.

    most_minutes      Longest time from leaving to being back; None: the whole shift.
    overtime_minutes  How long after ``closes`` the day may still run, at the price of overtime.
    """

    technician = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="+")
    weekday = models.PositiveSmallIntegerField("day", choices=Weekday)
    opens = models.TimeField("from", default=time(8))
    closes = models.TimeField("to", default=time(16, 30))
    break_opens = models.TimeField("break not before", null=True, blank=True)
    break_closes = models.TimeField("break over by", null=True, blank=True)
    break_minutes = models.PositiveSmallIntegerField(
        "break, in minutes", default=0, validators=[MaxValueValidator(240, "A break is at most 240 minutes.")]
    )
    most_minutes = models.PositiveSmallIntegerField(
        "at most, in minutes",
        null=True,
        blank=True,
        validators=[MinValueValidator(30), MaxValueValidator(MOST_SHIFT_MINUTES)],
    )
    overtime_minutes = models.PositiveSmallIntegerField(
        "overtime allowed, in minutes",
        default=0,
        validators=[MaxValueValidator(MOST_OVERTIME_MINUTES, f"At most {MOST_OVERTIME_MINUTES} minutes.")],
    )

    class Meta:
        ordering: ClassVar = ["technician__name", "weekday"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["technician", "weekday"], name="one_shift_per_weekday"),
            models.CheckConstraint(condition=Q(weekday__gte=0, weekday__lte=6), name="shift_weekday_known"),
            models.CheckConstraint(condition=Q(closes__gt=F("opens")), name="shift_opens_before_it_closes"),
            models.CheckConstraint(
                condition=Q(break_minutes=0)
                | Q(
                    break_opens__isnull=False,
                    break_closes__isnull=False,
                    break_closes__gt=F("break_opens"),
                ),
                name="shift_break_has_times",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_weekday_display()} {self.opens:%H:%M}–{self.closes:%H:%M}"

    def clean(self) -> None:
        """Refuse times out of order, and a break that does not fit. Raises ValidationError by field."""
        super().clean()
        errors = {}
        if self.opens and self.closes and self.closes <= self.opens:
            errors["closes"] = "A shift must end after it begins, on the same day."
        if self.break_minutes and (why := _wrong_break(self)):
            errors["break_minutes"] = why
        if errors:
            raise ValidationError(errors)


def _wrong_break(shift: Shift) -> str:
    opens, closes = shift.break_opens, shift.break_closes
    if opens is None or closes is None:
        return "Say between which times the break is taken."
    room = (closes.hour - opens.hour) * 60 + closes.minute - opens.minute
    if room < (shift.break_minutes or 0):
        return f"A break of {shift.break_minutes} minutes does not fit into {max(room, 0)} minutes."
    if shift.opens and shift.closes and (opens < shift.opens or closes > shift.closes):
        return "The break must lie within the shift."
    return ""


class DayOffReason(models.TextChoices):
    HOLIDAY = "holiday", "Holiday"
    SICK = "sick", "Sick"
    TRAINING = "training", "Training"
    CLOSED = "closed", "The firm is closed"
    OTHER = "other", "Other"


class DayOff(OwnedByOrganisation):
    """Days on which a technician does not work; without a technician, on which nobody does."""

    technician = models.ForeignKey(Person, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    first_day = models.DateField("first day")
    last_day = models.DateField("last day")
    reason = models.CharField("reason", max_length=10, choices=DayOffReason, default=DayOffReason.HOLIDAY)
    note = models.CharField("note", max_length=200, blank=True)

    class Meta:
        verbose_name = "day off"
        verbose_name_plural = "days off"
        ordering: ClassVar = ["first_day", "id"]
        indexes: ClassVar = [
            models.Index(fields=["organisation", "last_day", "first_day"], name="day_off_by_day"),
        ]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day")), name="day_off_ends_after_start"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_reason_display()} {self.first_day}–{self.last_day}"

    def clean(self) -> None:
        """Refuse days out of order. Raises ValidationError by field."""
        super().clean()
        if self.first_day and self.last_day and self.last_day < self.first_day:
            raise ValidationError({"last_day": "The last day cannot be before the first."})
