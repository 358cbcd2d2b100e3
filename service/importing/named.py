"""Whom and what an agreement names: people by e-mail address or name, skills by name; its cells as text."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError

from accounts.models import Person
from service.importing.kind import as_text
from service.rounds.models import Agreement, Skill
from service.rounds.models.agreements import WEEKDAYS, weekday_bits
from service.visits.forms_plan import who_carries_out_visits

# Column -> attribute of the agreement, where they are called otherwise.
ATTRIBUTES = {"weekdays": "weekdays_allowed", "preferred": "preferred_id"}
COLUMNS = {attribute: column for column, attribute in ATTRIBUTES.items()}
# Attributes that are rows of their own; their value is the sorted list of the others' keys.
LINKS = ("skills", "not_with")
_YES_OR_NO = ("while_guests_stay", "avoid_public_holidays", "optional")


@dataclass(frozen=True)
class Named:
    """The firm's people and skills; two queries.

    sent  Keys of those who may be sent to a visit.
    """

    people: Mapping[UUID, Person]
    sent: frozenset[UUID]
    skills: Mapping[UUID, Skill]

    @classmethod
    def of(cls, by: Person) -> "Named":
        people = Person.objects.filter(organisation=by.organisation_id)
        return cls(
            people={person.pk: person for person in people},
            sent=frozenset(who_carries_out_visits(by).values_list("pk", flat=True)),
            skills={skill.pk: skill for skill in Skill.objects.filter(organisation=by.organisation_id)},
        )

    def read(self, column: str, value: Any, *, had: Sequence[str]) -> Any:
        """What a column's field read, as the agreement's attribute.

        had  Keys of the people who stand there already: they may stay when they are not sent any more.

        Raises ValidationError for a name that is not known, or that several have.
        """
        if column == "weekdays":
            return weekday_bits(WEEKDAYS.index(day) for day in value)
        if column in _YES_OR_NO:
            return value == "yes"
        if column == "preferred":
            return self._person(value, had).pk if value else None
        if column == "not_with":
            return sorted({str(self._person(one, had).pk) for one in _parts(value)})
        if column == "skills":
            return sorted({str(skill.pk) for skill in self._skills(value)})
        return value

    def said(self, attribute: str, value: Any) -> str:
        """An attribute's value as its cell."""
        if attribute == "weekdays_allowed":
            return "; ".join(WEEKDAYS[day] for day in range(7) if value >> day & 1)
        if attribute == "preferred_id":
            return self._emails([value] if value else [])
        if attribute == "not_with":
            return self._emails(UUID(key) for key in value)
        if attribute == "skills":
            return "; ".join(sorted(self.skills[UUID(key)].name for key in value))
        return as_text(value)

    def _emails(self, keys: Iterable[UUID]) -> str:
        return "; ".join(sorted(self.people[key].email for key in keys))

    def _person(self, typed: str, had: Sequence[str]) -> Person:
        called = typed.casefold()
        found = [one for one in self.people.values() if one.email.casefold() == called]
        found = found or [one for one in self.people.values() if one.name.casefold() == called]
        if not found:
            raise ValidationError(f"Nobody here has the e-mail address or the name “{typed[:60]}”.")
        if len(found) > 1:
            raise ValidationError(f"{len(found)} people are called “{typed[:60]}”: give the e-mail address.")
        if found[0].pk not in self.sent and str(found[0].pk) not in had:
            raise ValidationError(f"{found[0].name} does not carry out visits.")
        return found[0]

    def _skills(self, typed: str) -> Iterator[Skill]:
        """Skills by their names, which may hold semicolons themselves: the longest that is known is taken."""
        parts = typed.split(";")
        at = 0
        while at < len(parts):
            skill, at = self._skill_from(parts, at)
            if skill:
                yield skill

    def _skill_from(self, parts: Sequence[str], at: int) -> tuple[Skill | None, int]:
        for end in range(len(parts), at, -1):
            if skill := self._called(";".join(parts[at:end]).strip()):
                return skill, end
        if name := parts[at].strip():
            raise ValidationError(
                f"No skill is called “{name[:60]}”. Add it under Skills of the roster first."
            )
        return None, at + 1

    def _called(self, name: str) -> Skill | None:
        exact = (skill for skill in self.skills.values() if skill.name == name)
        alike = (skill for skill in self.skills.values() if skill.name.casefold() == name.casefold())
        return next(exact, None) or next(alike, None)


def _parts(text: str) -> list[str]:
    return [part.strip() for part in text.split(";") if part.strip()]


def now(agreement: Agreement, attribute: str) -> Any:
    """What stands in an agreement. Needs its skills and ``not_with`` fetched."""
    if attribute in LINKS:
        return sorted(str(other.pk) for other in getattr(agreement, attribute).all())
    return getattr(agreement, attribute)
