"""Writing the audit trail, in the transaction of the change it describes."""

from typing import Any

from django.db import models

from accounts.models import AuditEvent, Person


def record_event(
    *, action: str, subject: models.Model, by: Person | None, detail: dict[str, Any] | None = None
) -> AuditEvent:
    """Add one row to the trail of the subject's organisation.

    ``action`` is namespaced ("visit.signed"). ``detail`` holds keys and figures, never names,
    codes or free text about a person; of a change made through an access token it also holds the token's
    key. Call inside the transaction that makes the change.
    """
    detail = detail or {}
    if by is not None and by.access_token is not None:
        detail = {**detail, "token": str(by.access_token.pk)}
    organisation_id = getattr(subject, "organisation_id", None) or subject.pk
    return AuditEvent.objects.create(
        organisation_id=organisation_id,
        actor_id=by.pk if by else None,
        action=action,
        subject_type=subject._meta.label_lower,
        subject_id=str(subject.pk),
        detail=detail,
    )
