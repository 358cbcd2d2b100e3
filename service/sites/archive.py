"""Taking clients, sites and spas out of use and back. Nothing that records name is ever deleted."""

from django.db.models import QuerySet

from accounts.access import require
from accounts.models import Person
from accounts.roles import Action
from service.sites.models import Client, Site, Spa
from service.sites.saving import archive_row, restore_row


def archive(*, place: Client | Site | Spa, by: Person) -> None:
    """Take ``place``, and everything below it, out of use. Archiving twice keeps the first time.

    Raises NotAllowed.
    """
    require(by, Action.EDIT_SITES)
    archive_row(place, by=by)


def restore(*, place: Client | Site | Spa, by: Person) -> None:
    """Bring ``place`` back into use. What lies below and was archived by itself stays archived.

    Raises NotAllowed.
    """
    require(by, Action.EDIT_SITES)
    restore_row(place, by=by)


def why_not_in_use(place: Client | Site | Spa) -> str:
    """Why ``place`` takes no new visits, as a sentence; "" when it is in use.

    A spa is out of use with its site, a site with its client. Needs the rows above loaded.
    """
    for level in _upwards(place):
        if level.archived_at:
            return f"The {level._meta.verbose_name} {level} is archived."
    return ""


def _upwards(place: Client | Site | Spa) -> tuple[Client | Site | Spa, ...]:
    if isinstance(place, Spa):
        return place, place.site, place.site.client
    if isinstance(place, Site):
        return place, place.client
    return (place,)


def in_use(spas: QuerySet[Spa]) -> QuerySet[Spa]:
    """Those of ``spas`` that take new visits."""
    return spas.filter(archived_at=None, site__archived_at=None, site__client__archived_at=None)
