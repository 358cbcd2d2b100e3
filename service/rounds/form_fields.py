"""Fields that several forms of the week share."""

from typing import Any

from django import forms

from service.rounds.models import (
    Skill,
)


def clock_field(label: str, *, required: bool = False, **more: Any) -> forms.TimeField:
    """A time of day, such as 14:30."""
    return forms.TimeField(
        label=label,
        required=required,
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
        input_formats=["%H:%M", "%H.%M", "%H:%M:%S"],
        error_messages={
            "invalid": f"{label} must be a time, such as 14:30.",
            "required": f"{label} is missing: a time, such as 14:30.",
        },
        **more,
    )


def skills_field() -> "forms.ModelMultipleChoiceField[Skill]":
    """Which skills; the form says whose."""
    return forms.ModelMultipleChoiceField(
        label="Skills needed",
        queryset=Skill.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": "Choose the skills from the list."},
    )


def offer(form: forms.BaseForm, name: str, rows: Any) -> None:
    """Let a field choose among these rows."""
    field = form.fields[name]
    assert isinstance(field, forms.ModelChoiceField)
    field.queryset = rows
