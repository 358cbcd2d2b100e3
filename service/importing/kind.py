"""What a list is made of: its kind and its columns.

What a column takes is what the same field of a page takes: the form's own field reads the cell, so that
limits, choices and messages cannot differ.
"""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxLengthValidator

from accounts.ownership import OwnedByOrganisation
from accounts.sealed import SealedTextField
from service.shell.fields import NumberField


@dataclass(frozen=True)
class Column:
    """One column.

    name      In the first line of a file. example: a cell that is taken.
    input     The form field that reads a cell; None for columns that say which thing is meant.
    wanted    A new row needs it.
    sealed    Can be brought in, is never sent out, nor shown in a preview.
    """

    name: str
    meaning: str
    example: str = ""
    unit: str = ""
    limits: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    input: forms.Field | None = None
    wanted: bool = False
    sealed: bool = False

    @property
    def several(self) -> bool:
        """Whether a cell holds several of the choices, with semicolons between them."""
        return isinstance(self.input, forms.MultipleChoiceField)

    def read(self, text: str) -> Any:
        """A cell as the field's value. Raises ValidationError with limit and unit."""
        assert self.input is not None
        text = plain_text(text)
        if self.several:
            return self._several(text)
        if self.choices:
            return self._chosen(text)
        value = self.input.clean(text)
        if isinstance(self.input, NumberField) and value is not None and self.input.decimal_places == 0:
            return int(value)
        return "" if value is None and isinstance(self.input, forms.CharField) else value

    def _chosen(self, text: str) -> str:
        for value, label in self.choices:
            if text.casefold() in (value.casefold(), label.casefold()):
                return value
        if not text and not cast("forms.Field", self.input).required:
            return ""
        words = ", ".join(value for value, _ in self.choices)
        raise ValidationError(f"“{text}” is none of: {words}." if text else f"Choose one of: {words}.")

    def _several(self, text: str) -> list[str]:
        by_word = {word.casefold(): value for value, label in self.choices for word in (value, label)}
        found = []
        for word in filter(None, (part.strip() for part in text.split(";"))):
            if word.casefold() not in by_word:
                known = ", ".join(value for value, _ in self.choices)
                raise ValidationError(f"“{word}” is none of: {known}. Separate several with semicolons.")
            found.append(by_word[word.casefold()])
        return list(dict.fromkeys(found))


def as_text(value: Any) -> str:
    """A field's value as its cell: figures with a point and no exponent, days and times as ISO 8601.

    >>> as_text(Decimal("38.0")), as_text(date(2026, 5, 31)), as_text(["trichlor", "bcdmh"]), as_text(None)
    ('38', '2026-05-31', 'trichlor; bcdmh', '')
    >>> as_text(time(8)), as_text(time(8, 0, 30)), as_text(True)
    ('08:00', '08:00:30', 'yes')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        text = f"{value:f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, time):
        return value.isoformat(timespec="auto" if value.second else "minutes")
    if isinstance(value, list):
        return "; ".join(value)
    return plain_text(str(value))


def plain_text(text: str) -> str:
    """Text as a cell can hold it: one kind of line end, no other control characters, no blank ends.

    >>> plain_text(" Gate\\r\\nleft\\x07 ")
    'Gate\\nleft'
    """
    if not text.isprintable():
        text = text.replace("\r\n", "\n").replace("\r", "\n")
        text = "".join(sign for sign in text if sign in "\n\t" or not _cannot_be_kept(sign))
    return text.strip()


def _cannot_be_kept(sign: str) -> bool:
    """Control characters, halves of a pair, and the two that XML 1.0 (section 2.2) excludes besides."""
    return unicodedata.category(sign) in ("Cc", "Cs") or sign in "\ufffe\uffff"


@dataclass(frozen=True)
class Kind:
    """One kind of list.

    above        The kind that its rows belong to; "" for clients.
    model        None for past readings, whose rows are several readings each.
    apart        Columns that tell rows apart that have neither key nor reference; ``apart_at``: the one
                 at which to say that two are alike; ``apart_words``: what they are called together.
    """

    key: str
    title: str
    one: str
    lead: str
    columns: tuple[Column, ...]
    above: str = ""
    model: type[OwnedByOrganisation] | None = None
    apart: tuple[str, ...] = ("name",)
    apart_at: str = "name"
    apart_words: str = "name"
    by_head: Mapping[str, Column] = field(default_factory=dict)

    def column(self, name: str) -> Column | None:
        """The column a file calls so, whatever its case and spaces."""
        return self.by_head.get(normal(name))


def normal(name: str) -> str:
    """The name of a column as compared.

    >>> normal(" Volume (L) "), normal("E-mail")
    ('volume_l', 'e_mail')
    """
    return re.sub(r"\W+", "_", name.strip().casefold()).strip("_")


def make_kind(key: str, title: str, one: str, lead: str, columns: tuple[Column, ...], **more: Any) -> Kind:
    """A kind whose columns are also found by the label of their field. ``more``: fields of ``Kind``."""
    by_head = {column.name: column for column in columns}
    for column in columns:
        label = str(column.input.label or "") if column.input else ""
        by_head.setdefault(normal(label) or column.name, column)
    for name, head in (("reference", f"{key}_reference"), ("name", key)):
        if name in by_head:
            by_head.setdefault(head, by_head[name])
    return Kind(key, title, one, lead, columns, by_head=by_head, **more)


def of_form(form: Any, examples: Mapping[str, str]) -> tuple[Column, ...]:
    """A column for each of these fields of a page's form: name -> example."""
    return tuple(_column(form, name, example) for name, example in examples.items())


def _column(form: Any, name: str, example: str) -> Column:
    asked = form.base_fields[name]
    stored = form._meta.model._meta.get_field(name)
    choices = tuple((str(value), str(label)) for value, label in getattr(asked, "choices", ()) if value)
    return Column(
        name=name,
        meaning=meaning_of(asked),
        example=example,
        unit=getattr(asked.widget, "unit", ""),
        limits=_limits(asked),
        choices=choices,
        input=asked,
        wanted=asked.required and not stored.has_default(),
        sealed=isinstance(stored, SealedTextField),
    )


def meaning_of(asked: forms.Field) -> str:
    """What a page says of the field, as sentences."""
    label = str(asked.label or "")
    label = label[:1].upper() + label[1:]
    if isinstance(asked, NumberField) and str(asked.help_text).casefold() == asked.limits.casefold():
        return f"{label}."
    return f"{label}. {asked.help_text}".strip()


def _limits(asked: forms.Field) -> str:
    if isinstance(asked, NumberField):
        return asked.limits
    if isinstance(asked, forms.DateField):
        return "a day, 2026-05-31 or 31.05.2026"
    if isinstance(asked, forms.TimeField):
        return "a time, 14:30"
    longest = [check.limit_value for check in asked.validators if isinstance(check, MaxLengthValidator)]
    return f"at most {min(longest):,} characters" if longest else ""
