"""What a week's plan must tell a person: something left out, moved or short, in words."""

from dataclasses import dataclass

from accounts.models import Person
from service.sites.models import Site, Spa


@dataclass(frozen=True)
class Note:
    """One sentence or two about a spa, a site or a person; about the whole week without a subject."""

    subject: Spa | Site | Person | None
    text: str
