"""Drives that the office enters by hand, because it knows them better than the map."""

from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Organisation, Person
from accounts.roles import Action
from service.rounds.hand_driven import KnownDrive
from service.rounds.models import HandDrive, TechnicianBase
from service.rounds.roads.times import Point
from service.shell.clock import local_day
from service.sites.models import Site
from service.sites.saving import add_row, change_row

SECONDS, METRES = 60, 1000


@transaction.atomic
def enter_drive(
    *,
    site: Site,
    by: Person,
    minutes: int,
    other_site: Site | None = None,
    other_base: TechnicianBase | None = None,
    km: Decimal | None = None,
) -> HandDrive:
    """How long the drive between two places takes; a pair that is known already gets the new values.

    Raises NotAllowed; ValidationError by field.
    """
    require(by, Action.PLAN_VISITS)
    if other_site is not None and str(other_site.pk) < str(site.pk):
        site, other_site = other_site, site
    fields: dict[str, Any] = {"minutes": minutes, "km": km}
    rows = HandDrive.objects.select_for_update().filter(organisation=by.organisation)
    stored = rows.filter(site=site, other_site=other_site, other_base=other_base).first()
    if stored is None:
        drive = HandDrive(
            organisation=by.organisation,
            site=site,
            other_site=other_site,
            other_base=other_base,
            entered_by=by,
            **fields,
        )
        return add_row(drive, action="drive.entered", by=by)
    fields |= {"entered_by": by, "entered_at": timezone.now()}
    return change_row(stored, fields, action="drive.changed", by=by)


@transaction.atomic
def remove_drive(*, drive: HandDrive, by: Person) -> None:
    """The source of driving times says this drive again. Raises NotAllowed."""
    require(by, Action.PLAN_VISITS)
    record_event(action="drive.removed", subject=drive, by=by, detail={"minutes": drive.minutes})
    drive.delete()


def known_drives(organisation: Organisation) -> list[KnownDrive]:
    """The firm's drives by hand between places whose positions are known. One query."""
    rows = HandDrive.objects.filter(organisation=organisation)
    rows = rows.select_related("site", "other_site", "other_base", "entered_by")
    return [known for row in rows if (known := _known(row, organisation.time_zone))]


def _known(row: HandDrive, zone: str) -> KnownDrive | None:
    start = _point(row.site.latitude, row.site.longitude)
    if row.other_site is not None:
        end = _point(row.other_site.latitude, row.other_site.longitude)
    else:
        assert row.other_base is not None
        end = _point(row.other_base.start_latitude, row.other_base.start_longitude)
    if start is None or end is None:
        return None
    who = f"{row.entered_by.name}, " if row.entered_by else ""
    words = f"{ends_in_words(row)}, {row.minutes} min ({who}{local_day(row.entered_at, zone)})"
    metres = None if row.km is None else round(row.km * METRES)
    return KnownDrive(start, end, row.minutes * SECONDS, metres, words)


def ends_in_words(row: HandDrive) -> str:
    """ "Mill Cottage to The yard". Needs both ends loaded."""
    other = row.other_site.name if row.other_site else row.other_base.start_name if row.other_base else ""
    return f"{row.site.name} to {other}"


def _point(latitude: Decimal | None, longitude: Decimal | None) -> Point | None:
    if latitude is None or longitude is None:
        return None
    return Point(float(latitude), float(longitude))
