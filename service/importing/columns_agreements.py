"""The columns of an agreement, as its page asks for them."""

import re
from dataclasses import replace
from typing import Any, cast

from django import forms

from service.importing.kind import Column, meaning_of, of_form
from service.rounds.forms_agreements import AgreementForm
from service.rounds.models.agreements import WEEKDAYS

_ASKED = AgreementForm.base_fields
_SEASON = "month and day, 04-15; of a whole day, 2026-04-15, the year is left aside"
_WHOLE_DAY = re.compile(r"^\d{4}-(?=\d\d-\d\d$)")
_PEOPLE = "an e-mail address, or a name that only one has"


class _SeasonDay(forms.RegexField):
    """Month and day. A spreadsheet makes a whole day of them: its year is left aside."""

    def to_python(self, value: Any) -> str:
        return _WHOLE_DAY.sub("", super().to_python(value) or "")


def _season_day(column: Column) -> Column:
    asked = cast("forms.RegexField", column.input)
    said = {"invalid": asked.error_messages["invalid"]}
    own = _SeasonDay(asked.regex, label=asked.label, required=False, error_messages=said)
    return replace(column, input=own, limits=_SEASON)


def _yes_or_no(name: str, example: str) -> Column:
    """A box to tick. A cell that is empty leaves it as it is."""
    asked = _ASKED[name]
    choices = (("yes", "true"), ("no", "false"))
    return Column(name, meaning_of(asked), example, choices=choices, input=forms.CharField(label=asked.label))


def _words(name: str, meaning: str, limits: str) -> Column:
    """One or several names, looked up among those of the firm."""
    return Column(
        name, meaning, limits=limits, input=forms.CharField(label=_ASKED[name].label, required=False)
    )


def _made() -> tuple[Column, ...]:
    examples = {
        "frequency": "times_a_week",
        "times_a_week": "2",
        "every_weeks": "",
        "minutes_on_site": "30",
        "window_from": "08:00",
        "window_to": "12:00",
        "starts_on": "2026-04-01",
        "ends_on": "",
        "season_from": "04-15",
        "season_to": "10-31",
        "min_days_between": "2",
        "max_days_between": "5",
        "drop_price": "",
        "instructions": "Key safe at the gate",
    }
    plain = {column.name: column for column in of_form(AgreementForm, examples)}
    often = replace(plain["frequency"], wanted=True)
    days = Column(
        "weekdays",
        "Days allowed. A new row without them: Monday to Friday.",
        "Monday; Thursday; Friday",
        choices=tuple((day, day[:3]) for day in WEEKDAYS),
        input=forms.MultipleChoiceField(label="Days allowed"),
    )
    return (
        often,
        plain["times_a_week"],
        plain["every_weeks"],
        days,
        plain["minutes_on_site"],
        plain["window_from"],
        plain["window_to"],
        _yes_or_no("while_guests_stay", "no"),
        plain["starts_on"],
        plain["ends_on"],
        _season_day(plain["season_from"]),
        _season_day(plain["season_to"]),
        _yes_or_no("avoid_public_holidays", "yes"),
        plain["min_days_between"],
        plain["max_days_between"],
        _words("preferred", "Preferred technician.", _PEOPLE),
        _words("not_with", "Who is not sent.", f"{_PEOPLE}; several with semicolons between them"),
        _words("skills", "Skills needed, by their names.", "several with semicolons between them"),
        _yes_or_no("optional", "no"),
        plain["drop_price"],
        plain["instructions"],
    )


AGREEMENT_COLUMNS = _made()
