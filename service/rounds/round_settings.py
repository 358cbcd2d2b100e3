"""A firm's settings for its weeks."""

from typing import Any

from django.db import transaction

from accounts.access import require
from accounts.models import Organisation, Person
from accounts.roles import Action
from service.rounds.models import RoundSettings
from service.sites.saving import add_row, change_row


def round_settings(organisation: Organisation) -> RoundSettings:
    """The firm's settings; the defaults, not saved, while it has chosen none."""
    found = RoundSettings.objects.filter(organisation=organisation).first()
    return found or RoundSettings(organisation=organisation)


@transaction.atomic
def change_round_settings(*, by: Person, **fields: Any) -> RoundSettings:
    """New settings of the firm of ``by``. Raises NotAllowed; ValidationError by field."""
    require(by, Action.PLAN_VISITS)
    stored = RoundSettings.objects.select_for_update().filter(organisation=by.organisation).first()
    if stored is None:
        settings = RoundSettings(organisation=by.organisation, **fields)
        return add_row(settings, action="round_settings.chosen", by=by)
    return change_row(stored, fields, action="round_settings.changed", by=by)
