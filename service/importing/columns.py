"""The columns of every list: one table, read by the documentation page, the templates, import and export.

What a column takes is what the same field of a page takes: the form's own field reads the cell, so that
limits, choices and messages cannot differ.
"""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxLengthValidator

from accounts.ownership import OwnedByOrganisation
from accounts.sealed import SealedTextField
from service.shell.fields import NumberField
from service.sites.forms import ClientForm, SiteForm, SpaForm
from service.sites.models import Client, Site, Spa
from service.stock.models import Method
from service.visits.parameters import TESTS

ROWS_MAX = 20_000
COLUMNS_MAX = 60
FILE_MAX_BYTES = 5 * 1024 * 1024
KEY = "runnel_key"
TAKEN_AT = "taken_at"


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

    def read(self, text: str) -> Any:
        """A cell as the field's value. Raises ValidationError with limit and unit."""
        assert self.input is not None
        text = plain_text(text)
        if isinstance(self.input, forms.MultipleChoiceField):
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
                raise ValidationError(f"“{word}” is not a known product. Separate several with semicolons.")
            found.append(by_word[word.casefold()])
        return list(dict.fromkeys(found))


def as_text(value: Any) -> str:
    """A field's value as its cell: figures with a point and no exponent, days as ISO 8601.

    >>> as_text(Decimal("38.0")), as_text(date(2026, 5, 31)), as_text(["trichlor", "bcdmh"]), as_text(None)
    ('38', '2026-05-31', 'trichlor; bcdmh', '')
    """
    if value is None:
        return ""
    if isinstance(value, Decimal):
        text = f"{value:f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, date):
        return value.isoformat()
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

    above  The kind that its rows belong to; "" for clients.
    model  None for past readings, whose rows are several readings each.
    """

    key: str
    title: str
    one: str
    lead: str
    columns: tuple[Column, ...]
    above: str = ""
    model: type[OwnedByOrganisation] | None = None
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


def _kind(key: str, title: str, one: str, lead: str, columns: tuple[Column, ...], **more: Any) -> Kind:
    by_head = {column.name: column for column in columns}
    for column in columns:
        label = str(column.input.label or "") if column.input else ""
        by_head.setdefault(normal(label) or column.name, column)
    by_head.setdefault(f"{key}_reference", by_head.get("reference", columns[0]))
    by_head.setdefault(key, by_head.get("name", columns[0]))
    return Kind(key, title, one, lead, columns, by_head=by_head, **more)


def _of_form(form: Any, examples: Mapping[str, str]) -> tuple[Column, ...]:
    return tuple(_column(form, name, example) for name, example in examples.items())


def _column(form: Any, name: str, example: str) -> Column:
    asked = form.base_fields[name]
    stored = form._meta.model._meta.get_field(name)
    choices = tuple((str(value), str(label)) for value, label in getattr(asked, "choices", ()) if value)
    return Column(
        name=name,
        meaning=_meaning(asked),
        example=example,
        unit=getattr(asked.widget, "unit", ""),
        limits=_limits(asked),
        choices=choices,
        input=asked,
        wanted=asked.required and not stored.has_default(),
        sealed=isinstance(stored, SealedTextField),
    )


def _meaning(asked: forms.Field) -> str:
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
    longest = [check.limit_value for check in asked.validators if isinstance(check, MaxLengthValidator)]
    return f"at most {min(longest):,} characters" if longest else ""


_OURS = Column(
    KEY,
    "What Runnel calls the row. Leave it as it was exported; for a new row leave it empty.",
)
_CLIENT = Column("client", "The client's name, where there is no reference.", "Hillside Lets")
_SITE = Column("site", "The site's name, where there is no reference.", "Mill Barn")

CLIENTS = _kind(
    "client",
    "Clients",
    "client",
    "Who pays. One row a client, known by its reference.",
    (
        *_of_form(
            ClientForm,
            {
                "reference": "C-014",
                "name": "Hillside Lets",
                "kind": "let",
                "contact_name": "Ana Whitlow",
                "email": "office@hillside.example",
                "phone": "+44 1632 960123",
                "notes": "Invoice on the first of the month",
            },
        ),
        _OURS,
    ),
    model=Client,
)
SITES = _kind(
    "site",
    "Sites",
    "site",
    "Where the tubs stand. One row a site, known by its reference; it names its client.",
    (
        Column("client_reference", "The reference of the client it belongs to.", "C-014"),
        _CLIENT,
        *_of_form(
            SiteForm,
            {
                "reference": "S-031",
                "name": "Mill Barn",
                "address": "Mill Lane, Ashford Tarn",
                "latitude": "54.123456",
                "longitude": "-2.654321",
                "access_code": "4711",
                "access_notes": "Side gate; the dog is friendly",
                "parking": "On the gravel",
                "breaker": "Plant room, left of the door",
                "tap": "Behind the log store",
                "contact_name": "Caretaker",
                "contact_phone": "01632 960456",
            },
        ),
        _OURS,
    ),
    above="client",
    model=Site,
)
SPAS = _kind(
    "spa",
    "Spas",
    "spa",
    "The tubs. One row a spa, known by its reference; it names its site.",
    (
        Column("site_reference", "The reference of the site it stands at.", "S-031"),
        _CLIENT,
        _SITE,
        *_of_form(
            SpaForm,
            {
                "reference": "T-052",
                "name": "Barn tub",
                "volume_l": "1250",
                "volume_basis": "plate",
                "shell": "acrylic",
                "sanitiser": "chlorine",
                "setting": "outdoor",
                "feeder": "none",
                "set_temperature_c": "38",
                "heater_kw": "3",
                "fill_l_per_minute": "12",
                "filtration": "Two cartridges",
                "ozone_or_uv": "Ozone",
                "cover": "Folding, with lifter",
                "bather_capacity": "6",
                "commissioned_on": "2023-04-18",
                "forbidden_substances": "trichlor; bcdmh",
                "warranty_note": "No tablets in the skimmer",
                "notes": "",
            },
        ),
        _OURS,
    ),
    above="site",
    model=Spa,
)
_READ = {
    "ph": "7.4",
    "free_chlorine_mg_l": "4.2",
    "total_alkalinity_mg_l": "95",
    "temperature_c": "38",
}
READINGS = _kind(
    "reading",
    "Past readings",
    "reading",
    "What was read before the firm worked with Runnel. One row a test of the water: a spa, a time, and a "
    "column for each parameter. They are history only: shown as imported, never judged, and they never "
    "make a spa fit for use.",
    (
        Column("spa_reference", "The reference of the spa.", "T-052"),
        _CLIENT,
        _SITE,
        Column("spa", "The spa's name, where there is no reference.", "Barn tub"),
        Column(
            TAKEN_AT,
            "When it was read, in the firm's time unless an offset is written. A day alone counts as noon.",
            "2025-06-14 10:30",
            limits="2026-05-31 14:30 or 31.05.2026 14:30, not in the future",
            wanted=True,
        ),
        Column(
            "method",
            "How it was read.",
            "photometer",
            choices=tuple((value, str(label)) for value, label in Method.choices),
            input=forms.CharField(required=False),
        ),
        *(
            Column(
                test.parameter,
                f"{test.label}. Empty: not measured. “<0.1” and “>10” where the test could only say so"
                + ("; 100 °F is turned into °C." if test.parameter == "temperature_c" else "."),
                _READ.get(test.parameter, ""),
                unit=test.unit,
                limits=test.range_words,
            )
            for test in TESTS
        ),
    ),
    above="spa",
)
KINDS: dict[str, Kind] = {kind.key: kind for kind in (CLIENTS, SITES, SPAS, READINGS)}
# A workbook with a sheet for each kind.
ALL = "all"
