"""Which rows changed since a moment: the audit trail knows, because every change writes to it."""

from datetime import datetime
from typing import TypeVar

from django.db.models import Model, QuerySet
from rest_framework.exceptions import ValidationError

from accounts.models import AuditEvent
from service.api.limits import CHANGED_MAX

Row = TypeVar("Row", bound=Model)


def changed_since(rows: QuerySet[Row], moment: datetime | None) -> QuerySet[Row]:
    """Those of ``rows`` that were added or changed at or after ``moment``; one query for the trail.

    Raises ValidationError for ``changed_since`` when there are more than CHANGED_MAX of them.
    """
    if moment is None:
        return rows
    events = AuditEvent.objects.filter(at__gte=moment, subject_type=rows.model._meta.label_lower)
    keys = list(events.order_by().values_list("subject_id", flat=True).distinct()[: CHANGED_MAX + 1])
    if len(keys) > CHANGED_MAX:
        message = f"More than {CHANGED_MAX:,} rows changed since then. Read the whole list, or ask for less."
        raise ValidationError({"changed_since": [message]})
    return rows.filter(pk__in=keys)
