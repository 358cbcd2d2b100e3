"""What the office types on the pages of a week."""

from datetime import date, timedelta
from typing import Any

from django import forms

from accounts.models import Person
from service.rounds.models import DayOffReason, WeekPlan
from service.rounds.plan_values import day_name
from service.rounds.problem_of_week import DAYS
from service.rounds.replan import LEAST_MINUTES, MOST_MINUTES, Window
from service.rounds.standing_visits import MINUTES_UNKNOWN
from service.shell.days import DayField
from service.shell.fields import NumberField
from service.visits.forms_plan import who_carries_out_visits

SEARCH_SECONDS = ((10, "10 seconds"), (30, "30 seconds"), (60, "1 minute"), (300, "5 minutes"))


class BuildForm(forms.Form):
    """How long to search."""

    seconds = forms.TypedChoiceField(
        label="Search for",
        choices=SEARCH_SECONDS,
        coerce=int,
        initial=30,
        error_messages={"invalid_choice": "Choose how long to search from the list."},
    )


def week_days(plan: WeekPlan) -> list[date]:
    """Monday to Sunday of the plan's week."""
    return [plan.monday + timedelta(days=n) for n in range(DAYS)]


def _day_choices(plan: WeekPlan) -> list[tuple[str, str]]:
    return [(day.isoformat(), day_name(day)) for day in week_days(plan)]


def _technicians(by: Person, label: str) -> "forms.ModelChoiceField[Person]":
    return forms.ModelChoiceField(
        label=label,
        queryset=who_carries_out_visits(by),
        empty_label="Choose who",
        error_messages={"required": "Choose who.", "invalid_choice": "Choose somebody from the list."},
    )


def _as_day(text: str) -> date:
    return date.fromisoformat(text)


class MoveForm(forms.Form):
    """Where a visit goes. ``place`` 1 is the first stop of the round."""

    day = forms.TypedChoiceField(
        label="Day", coerce=_as_day, error_messages={"invalid_choice": "Choose a day of this week."}
    )
    place = NumberField(
        name="Place in the round",
        low=1,
        high=99,
        required=False,
        help_text="1 is the first stop. Leave it empty: it goes where it does least harm.",
    )

    def __init__(self, *args: Any, plan: WeekPlan, by: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["technician"] = _technicians(by, "Technician")
        day = self.fields["day"]
        assert isinstance(day, forms.ChoiceField)
        day.choices = _day_choices(plan)
        self.order_fields(["technician", "day", "place"])

    @property
    def position(self) -> int | None:
        """The place counted from 0. Of a valid form."""
        place = self.cleaned_data["place"]
        return None if place is None else int(place) - 1


class OffForm(forms.Form):
    """Who is off, when and why."""

    first_day = DayField(name="First day", first_year=2000)
    last_day = DayField(name="Last day", first_year=2000)
    reason = forms.ChoiceField(label="Reason", choices=DayOffReason, initial=DayOffReason.SICK)

    def __init__(self, *args: Any, by: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"] = _technicians(by, "Who")
        self.order_fields(["person", "first_day", "last_day", "reason"])

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        first, last = given.get("first_day"), given.get("last_day")
        if first and last and last < first:
            self.add_error("last_day", "The last day cannot be before the first.")
        return given


def _clock(label: str, help_text: str) -> forms.TimeField:
    return forms.TimeField(
        label=label,
        required=False,
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
        input_formats=["%H:%M", "%H.%M", "%H:%M:%S"],
        help_text=help_text,
        error_messages={"invalid": f"{label} must be a time, such as 14:30."},
    )


class UrgentForm(forms.Form):
    """How long the visit takes and when it may begin."""

    minutes = NumberField(
        name="It takes", unit="min", low=LEAST_MINUTES, high=MOST_MINUTES, initial=MINUTES_UNKNOWN
    )
    first_day = forms.TypedChoiceField(
        label="From", coerce=_as_day, error_messages={"invalid_choice": "Choose a day of this week."}
    )
    last_day = forms.TypedChoiceField(
        label="Until", coerce=_as_day, error_messages={"invalid_choice": "Choose a day of this week."}
    )
    opens = _clock("It begins not before", "Leave it empty: at any time.")
    closes = _clock("It begins not after", "Leave it empty: at any time.")

    def __init__(self, *args: Any, plan: WeekPlan, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("first_day", "last_day"):
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.choices = _day_choices(plan)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        first, last = given.get("first_day"), given.get("last_day")
        if first and last and last < first:
            self.add_error("last_day", "The last day cannot be before the first.")
        opens, closes = given.get("opens"), given.get("closes")
        if opens and closes and closes <= opens:
            self.add_error("closes", "The latest time must be after the earliest.")
        return given

    @property
    def window(self) -> Window:
        """When it may begin. Of a valid form."""
        given = self.cleaned_data
        days = (given["last_day"] - given["first_day"]).days + 1
        times = {name: given[name] for name in ("opens", "closes") if given[name] is not None}
        return Window(tuple(given["first_day"] + timedelta(days=n) for n in range(days)), **times)
