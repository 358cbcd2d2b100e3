"""Days: a form field with the browser's own calendar and limits in words, and which day it is at a firm."""

from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils import timezone

from accounts.models import Organisation


def today_at(organisation: Organisation) -> date:
    """The firm's day now: at half past midnight there it may still be yesterday in UTC."""
    return timezone.localdate(timezone=ZoneInfo(organisation.time_zone))


class DayInput(forms.DateInput):
    """The browser's calendar; where it has none, a text input that takes 2026-05-31."""

    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class DayField(forms.DateField):
    """A day between two years, both included.

    name  How a message calls it: "Use by".
    """

    def __init__(self, *, name: str, first_year: int = 1950, last_year: int = 2100, **kwargs: Any) -> None:
        limits = f"{name} must be a day from {first_year} to {last_year}."
        kwargs.setdefault("label", name)
        super().__init__(
            widget=DayInput(),
            input_formats=["%Y-%m-%d", "%d/%m/%Y", "%d.%m.%Y"],
            validators=[
                MinValueValidator(date(first_year, 1, 1), limits),
                MaxValueValidator(date(last_year, 12, 31), limits),
            ],
            error_messages={
                "required": f"{name} is missing.",
                "invalid": f"{name} must be a day, such as 2026-05-31.",
            },
            **kwargs,
        )
