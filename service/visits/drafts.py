"""What somebody has typed and not saved, kept as typed: for a crash, a sign-out, a lost signal.

A draft is not part of the visit: it raises no revision and leaves no audit row.
"""

import json
from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.models import Person
from accounts.roles import Action
from service.visits.editing import AlreadySigned, allow
from service.visits.models import Draft, Visit, VisitState

SECTIONS = ("look", "test", "decide", "do", "sign")
# What is typed while signing is part of the signing itself.
SIGNING = "sign"
LARGEST = 50_000


@transaction.atomic
def save_draft(*, visit: Visit, section: str, fields: Mapping[str, object], by: Person) -> Draft:
    """Keep the fields of one section as typed; the newest draft of a person replaces the one before.

    Raises ValidationError (an unknown section, more than 50,000 characters), NotAllowed, AlreadySigned.
    """
    allow(visit, by=by, action=Action.CARRY_OUT_VISITS)
    if section not in SECTIONS:
        raise ValidationError({"section": "This part of the visit is not known."})
    if len(json.dumps(dict(fields))) > LARGEST:
        raise ValidationError({"section": f"At most {LARGEST} characters can be kept as a draft."})
    if Visit.objects.filter(pk=visit.pk, state=VisitState.SIGNED).exists():
        raise AlreadySigned
    draft, _ = Draft.objects.update_or_create(
        visit=visit,
        person=by,
        section=section,
        defaults={"fields": dict(fields)},
        create_defaults={"fields": dict(fields), "organisation_id": visit.organisation_id},
    )
    return draft


def draft_of(visit: Visit, person: Person, section: str) -> Mapping[str, object]:
    """What the person typed in the section and has not saved; empty when nothing."""
    draft = Draft.objects.filter(visit=visit, person=person, section=section).first()
    return draft.fields if draft else {}


def drop_draft(*, visit: Visit, section: str, by: Person) -> None:
    """Forget what was typed in the section, because it was saved or is not wanted."""
    Draft.objects.filter(visit=visit, person=by, section=section).delete()


def unsaved_sections(visit: Visit, person: Person) -> list[str]:
    """Sections with something typed and not saved, in the order of the page; signing left out."""
    return unsaved_of(drafts_of(visit, person))


def drafts_of(visit: Visit, person: Person) -> dict[str, Mapping[str, Any]]:
    """What the person typed and has not saved, by section; sections without anything are left out."""
    rows = Draft.objects.filter(visit=visit, person=person).exclude(fields={})
    return {row.section: row.fields for row in rows}


def unsaved_of(drafts: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """``unsaved_sections`` where the drafts are loaded already."""
    return [section for section in SECTIONS if section in drafts and section != SIGNING]
