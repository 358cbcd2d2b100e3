"""The firm's own details: how it is named and reached on papers, and by which clock it works."""

from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Organisation, Person
from accounts.roles import Action

# Regions of the time zone database (RFC 6557) whose zones are named after places; the rest are
# aliases and fixed offsets, by which no place keeps its summer time.
_REGIONS = (
    "Africa",
    "America",
    "Antarctica",
    "Arctic",
    "Asia",
    "Atlantic",
    "Australia",
    "Europe",
    "Indian",
    "Pacific",
)
FIELDS = ("name", "address", "phone", "email", "time_zone", "us_units")


def time_zones() -> list[str]:
    """Zones that a firm can work by, in order: "Europe/London"."""
    return sorted(zone for zone in available_timezones() if zone.partition("/")[0] in _REGIONS)


@transaction.atomic
def change_firm(
    *, name: str, address: str, phone: str, email: str, time_zone: str, us_units: bool, by: Person
) -> Organisation:
    """Change the details of the firm of ``by``. Signed records keep the name they were signed under.

    Raises NotAllowed, ValidationError by field.
    """
    require(by, Action.EDIT_FIRM)
    firm = Organisation.objects.select_for_update().get(pk=by.organisation_id)
    given = (name.strip(), address.strip(), phone.strip(), email.strip(), time_zone, us_units)
    changed = [field for field, value in zip(FIELDS, given, strict=True) if getattr(firm, field) != value]
    if "time_zone" in changed and time_zone not in time_zones():
        raise ValidationError({"time_zone": "Choose the time zone from the list."})
    for field, value in zip(FIELDS, given, strict=True):
        setattr(firm, field, value)
    firm.full_clean()
    if changed:
        firm.save(update_fields=changed)
        record_event(action="firm.details_changed", subject=firm, by=by, detail={"changed": changed})
    return firm
