"""What can be changed on many agreements at once. Visits that are planned already stay as they are."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from accounts.models import Person
from service.office.change import Change, choice
from service.rounds.agree import change_agreement, end_agreement
from service.rounds.forms_agreements import AgreementForm, EndForm
from service.rounds.models import Frequency
from service.rounds.models.agreements import times_a_week_in_words, weekday_bits
from service.rounds.words import say_day, say_weekdays
from service.shell.fields import NumberField
from service.visits.forms_plan import who_carries_out_visits

_YES_OR_NO = choice("Answer", [("yes", "Yes"), ("no", "No")])


def _of_page(name: str) -> Callable[[Person], forms.Field]:
    """The field of the agreement's own page."""
    return lambda _: AgreementForm.base_fields[name]


def _put(name: str) -> Callable[[Any, Any, Person], Any]:
    return lambda row, value, by: change_agreement(agreement=row, by=by, **{name: value})


def _answer(key: str, label: str) -> Change:
    """A change to a box that is ticked or not."""
    return Change(
        key,
        label,
        now=lambda row: "Yes" if getattr(row, key) else "No",
        act=lambda row, value, by: change_agreement(agreement=row, by=by, **{key: value == "yes"}),
        field=_YES_OR_NO,
        said=lambda value: "Yes" if value == "yes" else "No",
    )


def _clock(key: str, label: str) -> Change:
    return Change(
        key,
        label,
        now=lambda row: _time(getattr(row, key)),
        act=_put(key),
        field=_of_page(key),
        said=_time,
    )


def _time(value: Any) -> str:
    return f"{value:%H:%M}" if value else "any time"


def _minutes(value: Any) -> str:
    return f"{int(value)} minutes"


def _preferred_field(by: Person) -> forms.Field:
    return forms.ModelChoiceField(
        label="Preferred technician",
        queryset=who_carries_out_visits(by),
        required=False,
        empty_label="Nobody in particular",
    )


def _times_field(_: Person) -> forms.Field:
    return NumberField(name="Visits a week", low=1, high=7)


def _set_times(row: Any, value: Any, by: Person) -> None:
    if row.frequency != Frequency.TIMES_A_WEEK:
        raise ValidationError(f"It is visited {_in_a_sentence(row.how_often)}, not so many times a week.")
    change_agreement(agreement=row, by=by, times_a_week=int(value))


def _in_a_sentence(words: str) -> str:
    return words[:1].lower() + words[1:]


def _end(row: Any, value: Any, by: Person) -> None:
    end_agreement(agreement=row, last_day=value, by=by)


def _day(day: Any) -> str:
    return f"{say_day(day)} {day.year}" if day else "no last day"


AGREEMENTS = (
    Change(
        "times",
        "Visits a week",
        now=lambda row: row.how_often,
        act=_set_times,
        field=_times_field,
        said=lambda value: times_a_week_in_words(int(value)),
    ),
    Change(
        "weekdays",
        "Days allowed",
        now=lambda row: say_weekdays(row.weekdays),
        act=lambda row, value, by: change_agreement(
            agreement=row, by=by, weekdays_allowed=weekday_bits(value)
        ),
        field=_of_page("weekdays"),
        said=say_weekdays,
    ),
    _clock("window_from", "Not before"),
    _clock("window_to", "Not after"),
    Change(
        "minutes",
        "Minutes on site",
        now=lambda row: _minutes(row.minutes_on_site),
        act=lambda row, value, by: change_agreement(agreement=row, by=by, minutes_on_site=int(value)),
        field=_of_page("minutes_on_site"),
        said=_minutes,
    ),
    Change(
        "preferred",
        "Preferred technician",
        now=lambda row: row.preferred.name if row.preferred else "Nobody in particular",
        act=_put("preferred"),
        field=_preferred_field,
        said=lambda value: value.name if value else "Nobody in particular",
    ),
    _answer("avoid_public_holidays", "Not on public holidays"),
    _answer("while_guests_stay", "May be visited while guests stay"),
    Change(
        "end",
        "End after a day",
        now=lambda row: _day(row.ends_on),
        act=_end,
        field=lambda _: EndForm.base_fields["ends_on"],
        said=_day,
    ),
)
