"""What the firm has promised: how often which spa is visited, by whom and when."""

from calendar import month_name, monthrange
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models import F, Q

from accounts.models import Person
from accounts.ownership import OwnedByOrganisation
from service.sites.models import Spa

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
EVERY_DAY = 127
WORKING_DAYS = 31
LEAST_MINUTES, MOST_MINUTES = 5, 480
MOST_WEEKS = 52
MOST_GAP_DAYS = 400


class Skill(OwnedByOrganisation):
    """Something that not every technician may or can do, by a name of the firm's own."""

    name = models.CharField("name", max_length=60)

    class Meta:
        ordering: ClassVar = ["name"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["organisation", "name"], name="skill_name_once"),
        ]

    def __str__(self) -> str:
        return self.name


class Frequency(models.TextChoices):
    TIMES_A_WEEK = "times_a_week", "So many times a week"
    EVERY_WEEKS = "every_weeks", "Every so many weeks"
    CHANGEOVER = "changeover", "At every changeover"


AMOUNT_OF = {Frequency.TIMES_A_WEEK: "times_a_week", Frequency.EVERY_WEEKS: "every_weeks"}
"""The field that says how often, for the frequencies that have one."""
_LEAP_YEAR = 2024
_MONTH_AND_DAY = RegexValidator(
    r"^(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$", "Write month and day as 04-15 for 15 April."
)


class Agreement(OwnedByOrganisation):
    """How often one spa is visited. A spa may have several, each promising visits of its own.

    weekdays_allowed   Seven bits, Monday the lowest: see ``weekdays``.
    window_from, window_to  Earliest and latest start of a visit.
    season_from, season_to  "MM-DD", both ends included; may wrap the year. Both or neither.
    ends_on            Last day it promises visits on.
    """

    spa = models.ForeignKey(Spa, on_delete=models.PROTECT, related_name="agreements")
    frequency = models.CharField(
        "how often", max_length=12, choices=Frequency, default=Frequency.TIMES_A_WEEK
    )
    times_a_week = models.PositiveSmallIntegerField("visits a week", null=True, blank=True)
    every_weeks = models.PositiveSmallIntegerField("weeks from visit to visit", null=True, blank=True)
    weekdays_allowed = models.PositiveSmallIntegerField("days allowed", default=WORKING_DAYS)
    window_from = models.TimeField("not before", null=True, blank=True)
    window_to = models.TimeField("not after", null=True, blank=True)
    minutes_on_site = models.PositiveSmallIntegerField(
        "minutes on site",
        default=30,
        validators=[
            MinValueValidator(LEAST_MINUTES, f"A visit takes at least {LEAST_MINUTES} minutes."),
            MaxValueValidator(MOST_MINUTES, f"A visit takes at most {MOST_MINUTES} minutes (8 hours)."),
        ],
    )
    min_days_between = models.PositiveSmallIntegerField("fewest days between visits", null=True, blank=True)
    max_days_between = models.PositiveSmallIntegerField("most days between visits", null=True, blank=True)
    starts_on = models.DateField("from")
    ends_on = models.DateField("last day", null=True, blank=True)
    season_from = models.CharField("season begins", max_length=5, blank=True, validators=[_MONTH_AND_DAY])
    season_to = models.CharField("season ends", max_length=5, blank=True, validators=[_MONTH_AND_DAY])
    optional = models.BooleanField("may be dropped in a full week", default=False)
    drop_price = models.DecimalField(
        "what dropping a visit costs",
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(10_000))],
    )
    avoid_public_holidays = models.BooleanField("not on public holidays", default=True)
    while_guests_stay = models.BooleanField("may be visited while guests stay", default=False)
    preferred = models.ForeignKey(
        Person,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name="preferred technician",
    )
    skills = models.ManyToManyField(Skill, through="AgreementSkill", related_name="+", blank=True)
    not_with = models.ManyToManyField(Person, through="BarredTechnician", related_name="+", blank=True)
    instructions = models.TextField("what to do", blank=True, max_length=2000)

    class Meta:
        ordering: ClassVar = ["spa__site__name", "spa__name", "starts_on", "id"]
        indexes: ClassVar = [
            models.Index(fields=["organisation", "starts_on", "ends_on"], name="agreement_in_force"),
            models.Index(fields=["organisation", "frequency"], name="agreement_by_frequency"),
        ]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(
                    frequency=Frequency.TIMES_A_WEEK,
                    times_a_week__isnull=False,
                    times_a_week__gte=1,
                    times_a_week__lte=7,
                    every_weeks__isnull=True,
                )
                | Q(
                    frequency=Frequency.EVERY_WEEKS,
                    every_weeks__isnull=False,
                    every_weeks__gte=1,
                    every_weeks__lte=MOST_WEEKS,
                    times_a_week__isnull=True,
                )
                | Q(frequency=Frequency.CHANGEOVER, times_a_week__isnull=True, every_weeks__isnull=True),
                name="agreement_says_how_often",
            ),
            models.CheckConstraint(
                condition=Q(weekdays_allowed__gte=1, weekdays_allowed__lte=EVERY_DAY),
                name="agreement_allows_a_day",
            ),
            models.CheckConstraint(
                condition=Q(minutes_on_site__gte=LEAST_MINUTES, minutes_on_site__lte=MOST_MINUTES),
                name="agreement_minutes_in_range",
            ),
            models.CheckConstraint(
                condition=Q(window_from__isnull=True)
                | Q(window_to__isnull=True)
                | Q(window_to__gt=F("window_from")),
                name="agreement_window_in_order",
            ),
            models.CheckConstraint(
                condition=Q(ends_on__isnull=True) | Q(ends_on__gte=F("starts_on")),
                name="agreement_ends_after_start",
            ),
            models.CheckConstraint(
                condition=Q(season_from="", season_to="") | (~Q(season_from="") & ~Q(season_to="")),
                name="agreement_season_whole",
            ),
            models.CheckConstraint(
                condition=Q(min_days_between__isnull=True)
                | Q(max_days_between__isnull=True)
                | Q(max_days_between__gte=F("min_days_between")),
                name="agreement_gaps_in_order",
            ),
            models.CheckConstraint(
                condition=Q(optional=True) | Q(drop_price__isnull=True), name="agreement_price_if_optional"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.spa_id}: {self.how_often}"

    @property
    def weekdays(self) -> tuple[int, ...]:
        """Days of the week allowed, Monday 0."""
        return tuple(day for day in range(7) if self.weekdays_allowed >> day & 1)

    @property
    def how_often(self) -> str:
        """The frequency in words: "Twice a week", "Every 4 weeks", "At every changeover"."""
        if self.frequency == Frequency.TIMES_A_WEEK:
            return times_a_week_in_words(self.times_a_week or 1)
        if self.frequency == Frequency.EVERY_WEEKS:
            return "Every week" if self.every_weeks == 1 else f"Every {self.every_weeks} weeks"
        return "At every changeover"

    def is_in_season(self, day: date) -> bool:
        """Whether the day lies in the season; always, without one. A season may wrap the year."""
        if not self.season_from:
            return True
        today = f"{day:%m-%d}"
        if self.season_from <= self.season_to:
            return self.season_from <= today <= self.season_to
        return today >= self.season_from or today <= self.season_to

    def covers(self, day: date) -> bool:
        """Whether it promises visits on this day: begun, not ended, in season."""
        begun = self.starts_on <= day and (self.ends_on is None or day <= self.ends_on)
        return begun and self.is_in_season(day)

    def clean(self) -> None:
        """Refuse what contradicts itself. Raises ValidationError by field."""
        super().clean()
        if errors := _contradictions(self):
            raise ValidationError(errors)


def times_a_week_in_words(times: int) -> str:
    return {1: "Once a week", 2: "Twice a week"}.get(times, f"{times} times a week")


def weekday_bits(weekdays: Iterable[int]) -> int:
    """Days of the week, Monday 0, as ``Agreement.weekdays_allowed`` keeps them.

    >>> weekday_bits([0, 4])
    17
    """
    return sum(1 << day for day in set(weekdays))


def _contradictions(agreement: Agreement) -> dict[str, str]:
    return {
        **_wrong_frequency(agreement),
        **_wrong_times(agreement),
        **_wrong_gaps(agreement),
    }


def _wrong_frequency(agreement: Agreement) -> dict[str, str]:
    errors = {}
    if agreement.frequency == Frequency.TIMES_A_WEEK:
        if agreement.times_a_week is None or not 1 <= agreement.times_a_week <= 7:
            errors["times_a_week"] = "Say how many visits a week: from 1 to 7."
        elif agreement.times_a_week > len(agreement.weekdays):
            days = len(agreement.weekdays)
            errors["times_a_week"] = (
                f"{agreement.times_a_week} visits a week do not fit on {days} allowed days."
            )
    if agreement.frequency == Frequency.EVERY_WEEKS and (
        agreement.every_weeks is None or not 1 <= agreement.every_weeks <= MOST_WEEKS
    ):
        errors["every_weeks"] = f"Say how many weeks: from 1 to {MOST_WEEKS}."
    for frequency, amount in AMOUNT_OF.items():
        if agreement.frequency != frequency and getattr(agreement, amount) is not None:
            errors[amount] = "This belongs to another frequency: leave it empty."
    if not 1 <= agreement.weekdays_allowed <= EVERY_DAY:
        errors["weekdays_allowed"] = "Allow at least one day of the week."
    return errors


def _wrong_times(agreement: Agreement) -> dict[str, str]:
    errors = {}
    opens, closes = agreement.window_from, agreement.window_to
    if opens and closes and closes <= opens:
        errors["window_to"] = "The latest time must be after the earliest."
    if agreement.starts_on and agreement.ends_on and agreement.ends_on < agreement.starts_on:
        errors["ends_on"] = "The last day cannot be before the first."
    for here, other in (("season_from", "season_to"), ("season_to", "season_from")):
        if not getattr(agreement, here) and getattr(agreement, other):
            errors[here] = "A season needs both its first and its last day."
        elif why := _no_such_day(getattr(agreement, here)):
            errors[here] = why
    if agreement.drop_price is not None and not agreement.optional:
        errors["drop_price"] = "Only a visit that may be dropped has a price for dropping."
    return errors


def _no_such_day(month_and_day: str) -> str:
    """Why a month has no such day, as a sentence; "" also for what is not written as month and day."""
    month, _, day = month_and_day.partition("-")
    if not (month.isdigit() and day.isdigit() and 1 <= int(month) <= 12):
        return ""
    days = monthrange(_LEAP_YEAR, int(month))[1]
    return f"{month_name[int(month)]} has {days} days." if int(day) > days else ""


def _wrong_gaps(agreement: Agreement) -> dict[str, str]:
    errors = {}
    least, most = agreement.min_days_between, agreement.max_days_between
    for field, days in (("min_days_between", least), ("max_days_between", most)):
        if days is not None and not 1 <= days <= MOST_GAP_DAYS:
            errors[field] = f"Days between visits are from 1 to {MOST_GAP_DAYS}."
    if errors:
        return errors
    if least and most and most < least:
        errors["max_days_between"] = f"At most must not be less than at least, {least} days."
    if least and agreement.frequency == Frequency.TIMES_A_WEEK and (agreement.times_a_week or 1) > 1:
        fits = len(agreement.weekdays) and _fits_in_week(agreement, least)
        if not fits:
            errors["min_days_between"] = (
                f"{agreement.times_a_week} visits at least {least} days apart do not fit on the allowed days."
            )
    return errors


def _fits_in_week(agreement: Agreement, least: int) -> bool:
    taken, last = 0, -MOST_GAP_DAYS
    for day in agreement.weekdays:
        if day - last >= least:
            taken, last = taken + 1, day
    return taken >= (agreement.times_a_week or 1)


class AgreementSkill(OwnedByOrganisation):
    """A skill that the visits of an agreement need."""

    agreement = models.ForeignKey(Agreement, on_delete=models.CASCADE, related_name="+")
    skill = models.ForeignKey(Skill, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["agreement", "skill"], name="agreement_skill_once"),
        ]

    def __str__(self) -> str:
        return f"{self.agreement_id} needs {self.skill_id}"


class BarredTechnician(OwnedByOrganisation):
    """A technician who is not sent under an agreement."""

    agreement = models.ForeignKey(Agreement, on_delete=models.CASCADE, related_name="+")
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["agreement", "person"], name="barred_technician_once"),
        ]

    def __str__(self) -> str:
        return f"{self.agreement_id} without {self.person_id}"
