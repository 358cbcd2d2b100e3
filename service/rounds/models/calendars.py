"""When guests stay: calendars that are fetched or uploaded, and the bookings in them."""

from datetime import UTC, datetime
from typing import ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from accounts.ownership import OwnedByOrganisation
from accounts.sealed import SealedTextField
from service.sites.models import Site, Spa

EARLIEST_STAY, LATEST_STAY = datetime(1900, 1, 1, tzinfo=UTC), datetime(2101, 1, 1, tzinfo=UTC)
"""Stays are within these moments, so that days can be counted about them in any time zone."""


class ChangeoverCalendar(OwnedByOrganisation):
    """A calendar of bookings (RFC 5545): a feed that is fetched, or a file that was uploaded.

    It is about one spa, or about every spa of a site. Feed addresses hold secrets, so they are sealed.
    """

    name = models.CharField("name", max_length=120)
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="calendars")
    spa = models.ForeignKey(
        Spa,
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="calendars",
        verbose_name="only this spa",
    )
    feed_url = SealedTextField("address of the feed", blank=True, max_length=2000)
    guests_leave_by = models.TimeField("guests leave by", null=True, blank=True)
    guests_arrive_from = models.TimeField("guests arrive from", null=True, blank=True)
    etag = models.CharField(max_length=200, blank=True, editable=False)
    fetched_at = models.DateTimeField("last read", null=True, editable=False)
    tried_at = models.DateTimeField("last tried", null=True, editable=False)
    error = models.CharField("what went wrong", max_length=400, blank=True, editable=False)
    remarks = models.JSONField("what was left out", default=list, blank=True, editable=False)
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        verbose_name = "calendar"
        ordering: ClassVar = ["name", "id"]
        indexes: ClassVar = [
            models.Index(fields=["organisation", "archived_at", "name"], name="calendar_list"),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """Refuse a spa of another site. Raises ValidationError by field."""
        super().clean()
        if self.spa is not None and self.spa.site_id != self.site_id:
            raise ValidationError({"spa": "This spa is not at the calendar's site."})


class Booking(OwnedByOrganisation):
    """Guests stay from one moment to another, in one spa's house or at the whole site.

    Nothing is kept of who they are: an event's summary and description are not stored.
    calendar  None: entered by hand, or by another program.
    uid       The event's UID; ``recurrence`` tells the instances of a recurring one apart.
    """

    calendar = models.ForeignKey(
        ChangeoverCalendar, on_delete=models.CASCADE, null=True, blank=True, related_name="bookings"
    )
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="bookings")
    spa = models.ForeignKey(
        Spa,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="bookings",
        verbose_name="only this spa",
    )
    arrives_at = models.DateTimeField("guests arrive")
    leaves_at = models.DateTimeField("guests leave")
    guests = models.PositiveSmallIntegerField(
        "guests", null=True, blank=True, validators=[MaxValueValidator(200)]
    )
    reference = models.CharField("reference", max_length=80, blank=True)
    uid = models.CharField(max_length=255, blank=True, editable=False)
    recurrence = models.CharField(max_length=40, blank=True, editable=False)
    sequence = models.PositiveIntegerField(default=0, editable=False)
    stamped_at = models.DateTimeField(null=True, editable=False)
    cancelled_at = models.DateTimeField(null=True, blank=True, editable=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering: ClassVar = ["arrives_at", "id"]
        indexes: ClassVar = [
            models.Index(fields=["organisation", "leaves_at", "arrives_at"], name="booking_by_time"),
            models.Index(fields=["site", "leaves_at"], name="booking_by_site"),
        ]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(leaves_at__gt=F("arrives_at")), name="booking_ends_after_start"
            ),
            models.UniqueConstraint(
                fields=["calendar", "uid", "recurrence"],
                condition=Q(calendar__isnull=False),
                name="booking_once_per_calendar",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site_id} until {self.leaves_at:%Y-%m-%d}"

    def clean(self) -> None:
        """Refuse a spa of another site, and a stay that ends before it begins. Raises by field."""
        super().clean()
        errors = {}
        if self.spa is not None and self.spa.site_id != self.site_id:
            errors["spa"] = "This spa is not at the site."
        if self.arrives_at and self.leaves_at and self.leaves_at <= self.arrives_at:
            errors["leaves_at"] = "Guests must leave after they arrive."
        for name in ("arrives_at", "leaves_at"):
            moment = getattr(self, name)
            if moment and not EARLIEST_STAY <= moment < LATEST_STAY:
                errors[name] = "This must be a day from 1900 to 2100."
        if errors:
            raise ValidationError(errors)
