"""What the office types about who works when, from where, with what."""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from accounts.models import Person
from service.rounds.form_fields import clock_field, offer, skills_field
from service.rounds.models import (
    DayOffReason,
    Shift,
    Skill,
    TechnicianBase,
)
from service.rounds.models.agreements import WEEKDAYS
from service.rounds.words import say_list
from service.shell.days import DayField
from service.shell.fields import NumberField
from service.sites.forms import Groups
from service.visits.forms_plan import who_carries_out_visits

BASE_FIELDS = (
    "start_name",
    "start_latitude",
    "start_longitude",
    "end_name",
    "end_latitude",
    "end_longitude",
    "capacity_kg",
)

BREAK_FIELDS = ("break_opens", "break_closes", "break_minutes", "most_minutes", "overtime_minutes")


def _coordinate(name: str, limit: int, help_text: str = "") -> NumberField:
    said = help_text or f"From −{limit} to {limit}°."
    return NumberField(name=name, unit="°", low=-limit, high=limit, places=6, required=False, help_text=said)


class TechnicianForm(forms.Form):
    """Where a technician's days begin and end, what they carry and can do, and their usual week.

    Break, overtime and longest day are those of every day that has none of its own: ``own_days``
    keep theirs, which stand on the page of that day (``ShiftForm``).
    """

    start_name = forms.CharField(
        label="The day begins at", max_length=120, error_messages={"required": "Say where the day begins."}
    )
    start_latitude = _coordinate("Latitude", 90, "From −90 to 90°. Without it the technician is not planned.")
    start_longitude = _coordinate("Longitude", 180)
    end_name = forms.CharField(
        label="The day ends at", max_length=120, required=False, help_text="Empty: where it began."
    )
    end_latitude = _coordinate("Latitude of the end", 90)
    end_longitude = _coordinate("Longitude of the end", 180)
    capacity_kg = NumberField(name="The van carries", unit="kg", low=0, high=5000, initial=200)
    skills = skills_field()

    def __init__(self, *args: Any, by: Person, own_days: frozenset[int] = frozenset(), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.own_days = own_days
        self.fields |= _break_fields()
        self.fields["skills"].label = "What they can do"
        offer(self, "skills", Skill.objects.filter(organisation=by.organisation_id))
        for number, day in enumerate(WEEKDAYS):
            self.fields[f"opens_{number}"] = clock_field(f"{day} from")
            self.fields[f"closes_{number}"] = clock_field(f"{day} to")

    @property
    def groups(self) -> Groups:
        days = tuple(f"{name}_{number}" for number in range(7) for name in ("opens", "closes"))
        return (
            ("Usual week", days),
            (f"Break and overtime, on every day{self._but_own_days()}", BREAK_FIELDS),
            ("Where the day begins and ends", BASE_FIELDS[:-1]),
            ("Van and skills", ("capacity_kg", "skills")),
        )

    def _but_own_days(self) -> str:
        own = [WEEKDAYS[number] for number in sorted(self.own_days)]
        return f" but {say_list(own)}" if own else ""

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for number, day in enumerate(WEEKDAYS):
            opens, closes = cleaned.get(f"opens_{number}"), cleaned.get(f"closes_{number}")
            if opens and not closes:
                self.add_error(f"closes_{number}", f"Say until when {day} lasts, or leave both empty.")
            if closes and not opens:
                self.add_error(f"opens_{number}", f"Say when {day} begins, or leave both empty.")
        return cleaned

    def base(self) -> dict[str, Any]:
        values = {name: self.cleaned_data[name] for name in BASE_FIELDS}
        return values | {"capacity_kg": int(values["capacity_kg"])}

    def shifts(self) -> dict[int, dict[str, Any] | None]:
        """Weekday -> fields of its shift, None for a free day. Of a valid form."""
        given, every_day = self.cleaned_data, _break_values(self.cleaned_data)
        return {
            number: {
                "opens": given[f"opens_{number}"],
                "closes": given[f"closes_{number}"],
                **({} if number in self.own_days else every_day),
            }
            if given[f"opens_{number}"]
            else None
            for number in range(7)
        }


def technician_initial(base: TechnicianBase | None, shifts: list[Shift]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    if base is not None:
        values = {name: getattr(base, name) for name in BASE_FIELDS}
        values["skills"] = list(base.skills.all())
    if shifts:
        values |= dict(zip(BREAK_FIELDS, _usual(shifts), strict=True))
    for shift in shifts:
        values |= {f"opens_{shift.weekday}": shift.opens, f"closes_{shift.weekday}": shift.closes}
    return values


def days_of_their_own(shifts: Sequence[Shift]) -> frozenset[int]:
    """Weekdays whose break, longest day or overtime differ from those of most days."""
    return frozenset(shift.weekday for shift in shifts if _breaks_of(shift) != _usual(shifts))


def _usual(shifts: Sequence[Shift]) -> tuple[Any, ...]:
    return Counter(_breaks_of(shift) for shift in shifts).most_common(1)[0][0] if shifts else ()


def _breaks_of(shift: Shift) -> tuple[Any, ...]:
    return tuple(getattr(shift, name) for name in BREAK_FIELDS)


def _break_fields() -> dict[str, forms.Field]:
    return {
        "break_opens": clock_field("Break not before"),
        "break_closes": clock_field("Break over by"),
        "break_minutes": NumberField(name="Break", unit="minutes", low=0, high=240, initial=0),
        "most_minutes": NumberField(
            name="Longest day",
            unit="minutes",
            low=30,
            high=1440,
            required=False,
            help_text="From 30 to 1,440 minutes, from leaving to being back. Empty: the whole shift.",
        ),
        "overtime_minutes": NumberField(name="Overtime allowed", unit="minutes", low=0, high=480, initial=0),
    }


def _break_values(given: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: int(value) if name.endswith("minutes") and value is not None else value
        for name in BREAK_FIELDS
        for value in (given[name],)
    }


class ShiftForm(forms.Form):
    """One day of a technician's usual week, with a break of its own."""

    opens = clock_field("From", required=True)
    closes = clock_field("To", required=True)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields |= _break_fields()

    def values(self) -> dict[str, Any]:
        """Fields of the shift. Of a valid form."""
        given = self.cleaned_data
        return {"opens": given["opens"], "closes": given["closes"], **_break_values(given)}


def shift_initial(shift: Shift) -> dict[str, Any]:
    return {name: getattr(shift, name) for name in ("opens", "closes", *BREAK_FIELDS)}


class DayOffForm(forms.Form):
    technician = forms.ModelChoiceField(
        label="Who",
        queryset=Person.objects.none(),
        required=False,
        empty_label="Everybody: the firm is closed",
        error_messages={"invalid_choice": "Choose a technician from the list."},
    )
    first_day = DayField(name="First day", first_year=2000)
    last_day = DayField(name="Last day", first_year=2000, help_text="The same day for a single one.")
    reason = forms.ChoiceField(label="Reason", choices=DayOffReason.choices)
    note = forms.CharField(label="Note", required=False, max_length=200)

    def __init__(self, *args: Any, by: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "technician", who_carries_out_visits(by))
