"""Every row belongs to one firm.

``OwnedByOrganisation`` holds that invariant for every model of the firm's data: the row names its
organisation, ``objects`` refuses a query outside an organisation's scope, and a foreign key into
another organisation's row is refused here (forms, code) and by a database trigger (``guards``).
"""

import uuid
from typing import TYPE_CHECKING, Any, ClassVar, Self

from django.core.exceptions import ValidationError
from django.db import models
from django_scopes import ScopedManager


class OwnedByOrganisation(models.Model):
    """A row of one organisation. The key is random, so that a phone can name rows without signal."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    organisation = models.ForeignKey(
        "accounts.Organisation", on_delete=models.PROTECT, related_name="+", editable=False
    )

    if TYPE_CHECKING:
        objects: ClassVar[models.Manager[Self]]
    else:
        objects = ScopedManager(organisation="organisation")

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if errors := _foreign_rows(self):
            raise ValidationError(errors)
        super().save(*args, **kwargs)

    def clean(self) -> None:
        """Refuse a reference to another organisation's row. Raises ValidationError by field."""
        super().clean()
        if errors := _foreign_rows(self):
            raise ValidationError(errors)


def _foreign_rows(row: OwnedByOrganisation) -> dict[str, str]:
    """Fields of ``row`` that are loaded and belong to another organisation.

    Only rows already in memory are compared; the trigger catches a bare key.
    """
    errors = {}
    for field in row._meta.concrete_fields:
        if field.is_relation and field.name in row._state.fields_cache:
            other = getattr(row, field.name)
            if getattr(other, "organisation_id", row.organisation_id) != row.organisation_id:
                errors[field.name] = f"This {field.verbose_name} does not exist."
    return errors
