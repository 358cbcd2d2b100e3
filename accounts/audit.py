"""Writing the audit trail, in the transaction of the change it describes."""

from collections.abc import Sequence
from typing import Any

from django.db import models

from accounts.models import AuditEvent, Person

ROWS_AT_ONCE = 500


def record_event(
    *, action: str, subject: models.Model, by: Person | None, detail: dict[str, Any] | None = None
) -> AuditEvent:
    """Add one row to the trail of the subject's organisation.

    ``action`` is namespaced ("visit.signed"). ``detail`` holds keys and figures, never names,
    codes or free text about a person; of a change made through an access token it also holds the token's
    key. Call inside the transaction that makes the change.
    """
    event = _event(action, subject, by, detail or {})
    event.save(force_insert=True)
    return event


def record_events(
    *, action: str, subjects: Sequence[tuple[models.Model, dict[str, Any]]], by: Person | None
) -> None:
    """The same for many subjects, each with its detail, in few statements."""
    AuditEvent.objects.bulk_create(
        (_event(action, subject, by, detail) for subject, detail in subjects), batch_size=ROWS_AT_ONCE
    )


def _event(action: str, subject: models.Model, by: Person | None, detail: dict[str, Any]) -> AuditEvent:
    if by is not None and by.access_token is not None:
        detail = {**detail, "token": str(by.access_token.pk)}
    return AuditEvent(
        organisation_id=getattr(subject, "organisation_id", None) or subject.pk,
        actor_id=by.pk if by else None,
        action=action,
        subject_type=subject._meta.label_lower,
        subject_id=str(subject.pk),
        detail=detail,
    )
