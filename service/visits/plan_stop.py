"""Planning one stop by hand: the same visit to several spas of one site, all or none."""

from collections.abc import Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.models import Person
from service.sites.models import Spa
from service.visits.models import Visit
from service.visits.plan import plan_visit


@transaction.atomic
def plan_stop(*, spas: Sequence[Spa], by: Person, **plan: Any) -> list[Visit]:
    """A visit to each of ``spas``, in their order. ``plan`` goes to ``plan_visit`` as it is.

    Raises what ``plan_visit`` raises; ValidationError for ``spas`` when none is chosen or they stand
    at different sites. Nothing is planned then.
    """
    if not spas:
        raise ValidationError({"spas": "Choose at least one spa."})
    if len({spa.site_id for spa in spas}) > 1:
        raise ValidationError({"spas": "The spas of one stop stand at one site."})
    return [plan_visit(spa=spa, by=by, sequence=place, **plan) for place, spa in enumerate(spas)]
