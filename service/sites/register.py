"""Adding and changing clients, sites and spas."""

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ValidationError

from accounts.access import require
from accounts.models import Person
from accounts.roles import Action
from service.sites.archive import why_not_in_use
from service.sites.models import Client, Site, Spa
from service.sites.saving import add_row, change_row

_REFERENCE_ONCE: Mapping[str, tuple[str, ...]] = {"reference": ()}
_VOLUME = {"volume_l": Action.CHANGE_VOLUME, "volume_basis": Action.CHANGE_VOLUME}


def add_client(*, by: Person, **fields: Any) -> Client:
    """A new client of the firm. ``fields``: values of Client's own fields.

    Raises NotAllowed; ValidationError by field.
    """
    require(by, Action.EDIT_SITES)
    client = Client(organisation=by.organisation, **fields)
    return add_row(client, action="client.added", by=by, only_one=_REFERENCE_ONCE)


def change_client(*, client: Client, by: Person, **fields: Any) -> Client:
    """New values of a client. Raises NotAllowed; ValidationError by field."""
    require(by, Action.EDIT_SITES)
    return change_row(client, fields, action="client.changed", by=by, only_one=_REFERENCE_ONCE)


def add_site(*, client: Client, by: Person, **fields: Any) -> Site:
    """A new site of ``client``. Raises NotAllowed; ValidationError by field, or that it is archived."""
    require(by, Action.EDIT_SITES)
    _refuse_archived(client)
    site = Site(organisation=by.organisation, client=client, **fields)
    return add_row(site, action="site.added", by=by, only_one=_REFERENCE_ONCE)


def change_site(*, site: Site, by: Person, **fields: Any) -> Site:
    """New values of a site, gate codes included: the audit trail names the field, never the code.

    Raises NotAllowed; ValidationError by field.
    """
    require(by, Action.EDIT_SITES)
    return change_row(site, fields, action="site.changed", by=by, only_one=_REFERENCE_ONCE)


def add_spa(*, site: Site, by: Person, **fields: Any) -> Spa:
    """A new spa at ``site``. Raises NotAllowed; ValidationError by field, or that it is archived."""
    require(by, Action.EDIT_SITES)
    _refuse_archived(site)
    spa = Spa(organisation=by.organisation, site=site, **fields)
    return add_row(spa, action="spa.added", by=by, only_one=_REFERENCE_ONCE)


def change_spa(*, spa: Spa, by: Person, **fields: Any) -> Spa:
    """New values of a spa's specification. A new volume counts from the next decision on.

    Records already signed keep the volume they were dosed for.

    Raises NotAllowed, also when the volume differs and ``by`` may not change volumes;
    ValidationError by field.
    """
    require(by, Action.EDIT_SITES)
    return change_row(
        spa,
        fields,
        action="spa.changed",
        by=by,
        only_one=_REFERENCE_ONCE,
        figures=("volume_l", "volume_basis", "sanitiser", "forbidden_substances"),
        restricted=_VOLUME,
    )


def _refuse_archived(place: Client | Site) -> None:
    if reason := why_not_in_use(place):
        raise ValidationError(f"{reason} Bring it back into use first.", code="archived")
