"""What the office types about how its weeks are planned."""

from typing import Any, ClassVar

from django import forms
from django.db import models

from service.rounds.form_fields import clock_field
from service.rounds.models import (
    RoundSettings,
)
from service.shell.fields import NumberField
from service.sites.forms import Groups, news, unclipped


def _with_scheme(db_field: "models.Field[Any, Any]", **kwargs: Any) -> forms.Field | None:
    """Like ``unclipped``; an address without a scheme, as of a server in the same house, is http."""
    if isinstance(db_field, models.URLField):
        kwargs["assume_scheme"] = "http"
    return unclipped(db_field, **kwargs)


class SettingsForm(forms.ModelForm):  # type: ignore[type-arg]
    """How weeks are planned: holidays, hours of guests, roads, prices."""

    groups: ClassVar[Groups] = (
        ("Public holidays", ("country", "subdivision")),
        ("Guests", ("guests_leave_by", "guests_arrive_from")),
        ("Driving times", ("road_source", "server_url", "road_factor")),
        (
            "What things cost",
            (
                "currency",
                "price_per_driving_minute",
                "price_per_km",
                "price_per_overtime_minute",
                "price_per_technician_day",
                "price_per_moved_visit",
            ),
        ),
    )
    guests_leave_by = clock_field("Guests leave by", required=True)
    guests_arrive_from = clock_field("Guests arrive from", required=True)
    road_factor = NumberField(
        name="Factor on driving times",
        low=0.5,
        high=3,
        places=2,
        help_text="From 0.5 to 3. 1.2 makes every drive a fifth longer than the source says.",
    )

    class Meta:
        model = RoundSettings
        fields = (
            "country",
            "subdivision",
            "guests_leave_by",
            "guests_arrive_from",
            "road_source",
            "server_url",
            "road_factor",
            "currency",
            "price_per_driving_minute",
            "price_per_km",
            "price_per_overtime_minute",
            "price_per_technician_day",
            "price_per_moved_visit",
        )
        formfield_callback = _with_scheme
        help_texts: ClassVar = {
            "country": "Two capital letters, such as GB, US or NZ. Empty: no public holidays.",
            "subdivision": "Its code, such as ENG, SCT or CA. Empty: those of the whole country.",
            "server_url": "Only for a routing server.",
            "currency": "Three capital letters, such as GBP. Prices below are in it.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            if name.startswith("price_"):
                label = str(field.label)
                self.fields[name] = NumberField(
                    name=label[:1].upper() + label[1:], low=0, high=10_000, places=2
                )

    def add_error(self, field: str | None, error: Any) -> None:
        super().add_error(field, news(self, error))

    def values(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self._meta.fields or ()}
