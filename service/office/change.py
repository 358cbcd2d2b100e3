"""One change that can be made on many rows at once."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django import forms

from accounts.models import Person


@dataclass(frozen=True)
class Change:
    """One change.

    field  Makes the form field of the new value, for the person who changes; None: there is no value.
    now    What stands in a row, in words.
    said   A new value in words.
    act    Does it to one row: (row, value, by). Raises ValidationError or Refused.
    """

    key: str
    label: str
    now: Callable[[Any], str]
    act: Callable[[Any, Any, Person], Any]
    field: Callable[[Person], forms.Field] | None = None
    said: Callable[[Any], str] = str


def choice(label: str, choices: Any) -> Callable[[Person], forms.Field]:
    """Makes a field that offers these."""
    return lambda _: forms.ChoiceField(label=label, choices=choices)
