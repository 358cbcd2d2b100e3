"""The signed record in words: commitments opened where they may be, times in the firm's zone.

Everything printed comes from here, and so from the record's content; only the pictures, the earlier
visits and the corrections stand in rows of their own.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from accounts.models import Organisation
from reports.quantities import fahrenheit, figure
from service.chemistry.guidelines.parameters import PARAMETERS as JUDGED
from service.shell.clock import local_day, local_moment, local_time
from service.visits.models import Amendment, PersonalDatum, Record
from service.visits.parameters import BY_PARAMETER

ERASED = "(erased)"


@dataclass(frozen=True)
class Edition:
    """What one edition shows of a record.

    amendments  Its corrections, oldest first: edition n shows the first n - 1.
    names       Whether the firm's people are named; else they are "technician 1", "technician 2".
    earlier     Records of the spa's last visits before this one, newest first.
    """

    record: Record
    organisation: Organisation
    amendments: Sequence[Amendment]
    personal: Mapping[str, PersonalDatum]
    names: bool
    earlier: Sequence[Record] = ()

    @property
    def number(self) -> int:
        return len(self.amendments) + 1

    @property
    def as_of(self) -> datetime:
        """The time of the last thing the edition shows."""
        return self.amendments[-1].made_at if self.amendments else self.record.signed_at

    @property
    def content(self) -> Any:
        return self.record.content

    @property
    def us_units(self) -> bool:
        return self.organisation.us_units

    def said(self, commitment: Mapping[str, str] | None) -> str:
        """The words that a commitment stands for; "" when nothing was said."""
        if commitment is None:
            return ""
        datum = self.personal.get(commitment["name"])
        return ERASED if datum is None or datum.erased_at else datum.value

    def person(self, number: int | None) -> str:
        """Who did something, as far as this edition may say."""
        if number is None:
            return ""
        if not self.names:
            return f"technician {number}"
        name = next((each["name"] for each in self.content["people"] if each["number"] == number), None)
        return self.said(name)

    def moment(self, written: str | None) -> str:
        return local_moment(datetime.fromisoformat(written), self.organisation.time_zone) if written else ""

    def clock(self, written: str | None) -> str:
        return local_time(datetime.fromisoformat(written), self.organisation.time_zone) if written else ""

    def clock_of_the_day(self, written: str | None) -> str:
        """The time alone on the day of the visit, with its day on any other."""
        if not written:
            return ""
        zone = self.organisation.time_zone
        day = local_day(datetime.fromisoformat(written), zone)
        return self.clock(written) if day == local_day(self.record.signed_at, zone) else self.moment(written)

    def day(self, written: str | None) -> str:
        """The day of a date or of a moment, as the record writes it."""
        if not written:
            return ""
        moment = datetime.fromisoformat(written) if "T" in written else date.fromisoformat(written)
        return local_day(moment, self.organisation.time_zone)

    def corrections_of(self, *names: str) -> list[tuple[int, Amendment]]:
        """Amendments, with their numbers, that correct the line called by any of ``names``."""
        called = {_plain(name) for name in names}
        return [
            (number, amendment)
            for number, amendment in enumerate(self.amendments, start=1)
            if _plain(amendment.corrects) in called
        ]


def label_of(parameter: str) -> str:
    """The parameter's name for people."""
    test = BY_PARAMETER.get(parameter) or JUDGED.get(parameter)
    return test.label if test else parameter.replace("_", " ").capitalize()


def unit_of(parameter: str, *, us_units: bool) -> str:
    """The unit that stands beside the parameter's number."""
    if parameter == "temperature_c" and us_units:
        return "°F"
    test = BY_PARAMETER.get(parameter)
    if test:
        return test.unit
    judged = JUDGED.get(parameter)
    return judged.shown_unit if judged else ""


def in_unit(parameter: str, value: Decimal, *, us_units: bool) -> Decimal:
    """A value of the record in the unit it is shown in."""
    return fahrenheit(value) if parameter == "temperature_c" and us_units else value


def value_words(parameter: str, value: str | None, *, us_units: bool, bound: str | None = "") -> str:
    """A figure with its unit: "less than 0.5 mg/L"."""
    if value is None:
        return ""
    number = figure(in_unit(parameter, Decimal(value), us_units=us_units))
    sign = {"<": "less than ", ">": "more than "}.get(bound or "", "")
    return f"{sign}{number} {unit_of(parameter, us_units=us_units)}".rstrip()


def _plain(text: str) -> str:
    return " ".join(text.casefold().replace(",", " ").replace(":", " ").split())
