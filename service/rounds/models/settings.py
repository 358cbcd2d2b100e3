"""The settings that a firm's weeks are planned by."""

from datetime import time
from decimal import Decimal
from typing import ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Q

from accounts.ownership import OwnedByOrganisation
from service.rounds.public_holidays import why_unknown_place
from service.rounds.roads.server_address import ServerAddress


class RoadSource(models.TextChoices):
    EXTRACT = "extract", "Road map on this machine"
    STRAIGHT_LINE = "straight_line", "Straight line"
    SERVER = "server", "Routing server"


def _price(words: str, default: str) -> "models.DecimalField[Decimal, Decimal]":
    return models.DecimalField(
        words,
        max_digits=8,
        decimal_places=2,
        default=Decimal(default),
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(10_000))],
    )


class RoundSettings(OwnedByOrganisation):
    """How a firm's weeks are planned: its holidays, its roads, what things cost it.

    The default prices are our own choice, no source: a firm puts in its own.
    """

    country = models.CharField("country of the public holidays", max_length=2, default="GB", blank=True)
    subdivision = models.CharField("part of the country", max_length=10, default="ENG", blank=True)
    guests_leave_by = models.TimeField("guests leave by", default=time(10))
    guests_arrive_from = models.TimeField("guests arrive from", default=time(16))
    road_source = models.CharField(
        "where driving times come from", max_length=16, choices=RoadSource, default=RoadSource.STRAIGHT_LINE
    )
    server_url = models.URLField("address of the routing server", blank=True, max_length=300)
    road_factor = models.DecimalField(
        "factor on driving times",
        max_digits=4,
        decimal_places=2,
        default=Decimal("1.00"),
        validators=[MinValueValidator(Decimal("0.5")), MaxValueValidator(Decimal("3"))],
    )
    currency = models.CharField(
        "currency",
        max_length=3,
        default="GBP",
        validators=[RegexValidator(r"^[A-Z]{3}$", "A currency is three capital letters, such as GBP.")],
    )
    price_per_driving_minute = _price("a minute of driving", "0.40")
    price_per_km = _price("a kilometre", "0.30")
    price_per_overtime_minute = _price("a minute of overtime", "0.60")
    price_per_technician_day = _price("a technician's day on the road", "20")
    price_per_moved_visit = _price("a visit moved from its usual day", "5")

    class Meta:
        verbose_name = "round settings"
        verbose_name_plural = "round settings"
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["organisation"], name="one_round_settings_per_firm"),
            models.CheckConstraint(condition=Q(road_source__in=RoadSource.values), name="road_source_known"),
            models.CheckConstraint(
                condition=~Q(road_source=RoadSource.SERVER) | ~Q(server_url=""),
                name="road_server_has_address",
            ),
            models.CheckConstraint(condition=Q(road_factor__gt=0), name="road_factor_positive"),
        ]

    def __str__(self) -> str:
        return "Round settings"

    def clean(self) -> None:
        """Refuse an unknown country or part of it, and a server without address. Raises by field."""
        super().clean()
        errors = {}
        if why := why_unknown_place(self.country, self.subdivision):
            errors["subdivision" if "part" in why else "country"] = why
        if self.road_source == RoadSource.SERVER and not self.server_url:
            errors["server_url"] = "Give the address of the routing server, or choose another source."
        elif self.server_url:
            try:
                ServerAddress.of(self.server_url)
            except ValueError as error:
                errors["server_url"] = str(error)
        if errors:
            raise ValidationError(errors)
