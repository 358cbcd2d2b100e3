"""One thing that needs a person today, with the one thing to do about it."""

from dataclasses import dataclass
from datetime import date
from enum import IntEnum, StrEnum
from typing import TypedDict

from django.urls import reverse

from service.sites.models import Spa


class Urgency(IntEnum):
    """What comes first. Own choice, no source: people in the water before the firm's own work."""

    NOW = 0
    TODAY = 1
    THIS_WEEK = 2

    @property
    def heading(self) -> str:
        return ("People in the water, or guests arriving", "Today", "This week")[self]


class Kind(StrEnum):
    """Kinds of need, as the address names them."""

    RETEST = "retest"
    CLOSED = "closed"
    GUESTS = "guests"
    MISSED = "missed"
    OPEN = "open"
    UNSERVED = "unserved"
    PIN = "pin"
    DEFECT = "defect"
    CONSENT = "consent"
    DUTY = "duty"
    INSTRUMENT = "instrument"
    BATCH = "batch"
    CALENDAR = "calendar"
    RUN = "run"

    @property
    def words(self) -> str:
        return _WORDS[self]


_WORDS = {
    Kind.RETEST: "Retest overdue",
    Kind.CLOSED: "Closed spa",
    Kind.GUESTS: "Guests arrive",
    Kind.MISSED: "Visit not done",
    Kind.OPEN: "Visit still open",
    Kind.UNSERVED: "No place in the week",
    Kind.PIN: "No signing PIN",
    Kind.DEFECT: "Defect past its day",
    Kind.CONSENT: "Waiting for a yes",
    Kind.DUTY: "Overdue duty",
    Kind.INSTRUMENT: "Instrument past its check",
    Kind.BATCH: "Past its use-by day",
    Kind.CALENDAR: "Calendar not read",
    Kind.RUN: "Background work failed",
}
SHAPES = {Kind.RETEST: "▲", Kind.CLOSED: "■"}


@dataclass(frozen=True)
class Need:
    """One line of the list.

    since       The day it began to need somebody: the oldest stands first.
    about, url  What it is about, and its page.
    where       Site and client, or "".
    text        Why it needs somebody, as a sentence.
    action, action_url  The one thing that settles it.
    technician  Key and name of the technician whose work it is, or None.
    """

    kind: Kind
    urgency: Urgency
    since: date
    about: str
    text: str
    action: str
    action_url: str
    url: str = ""
    where: str = ""
    technician: tuple[str, str] | None = None

    @property
    def shape(self) -> str:
        return SHAPES.get(self.kind, "○")


class AboutSpa(TypedDict):
    """What a line about a spa says it is about."""

    about: str
    url: str
    where: str


def about_spa(spa: Spa) -> AboutSpa:
    """Needs ``site__client`` loaded."""
    return {
        "about": spa.name,
        "url": reverse("visits:spa_history", args=[spa.pk]),
        "where": f"{spa.site.name}, {spa.site.client.name}",
    }
