"""What a firm's own signed visits say about its drives."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import ClassVar
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.access import require
from accounts.models import Organisation, Person
from accounts.roles import Action
from service.rounds.roads.learned import Drive, Learned, learn
from service.rounds.roads.times import NO_ROAD, Point, TravelTimes
from service.rounds.round_settings import change_round_settings, round_settings
from service.rounds.travel import travel_times
from service.visits.editing import Refused
from service.visits.models import Visit, VisitState

LOOK_BACK_DAYS = 90
MOST_VISITS = 5_000


@dataclass(frozen=True)
class _Leg:
    start: Point
    end: Point
    measured_s: float


@dataclass(frozen=True)
class _Done:
    """What is asked of a visit that has ended: thousands are read, so no more than this."""

    FIELDS: ClassVar = (
        "technician",
        "planned_on",
        "started_at",
        "ended_at",
        "state",
        "spa__site__latitude",
        "spa__site__longitude",
    )

    technician: UUID
    day: date
    began: datetime
    ended: datetime
    state: str
    latitude: Decimal | None
    longitude: Decimal | None

    @property
    def place(self) -> Point | None:
        if self.latitude is None or self.longitude is None:
            return None
        return Point(float(self.latitude), float(self.longitude))


def learned_of(organisation: Organisation) -> Learned:
    """What the firm's drives say of its source of driving times. Raises RoadsError."""
    chosen = round_settings(organisation)
    source = travel_times(organisation, road_source=chosen.road_source, server_url=chosen.server_url)
    return learned_factor(organisation, source)


@transaction.atomic
def use_learned_factor(*, by: Person) -> Decimal:
    """Plan with the factor that the firm's drives tell from now on.

    Raises NotAllowed; Refused when they tell none; RoadsError.
    """
    require(by, Action.PLAN_VISITS)
    learned = learned_of(by.organisation)
    if not learned.used:
        raise Refused(learned.words)
    factor = round(Decimal(learned.factor), 2)
    change_round_settings(by=by, road_factor=factor)
    return factor


def drop_factor(*, by: Person) -> None:
    """Plan with the driving times as the source gives them. Raises NotAllowed."""
    change_round_settings(by=by, road_factor=Decimal("1.00"))


def learned_factor(organisation: Organisation, travel: TravelTimes) -> Learned:
    """The factor that the drives of the last 90 days tell: leaving one site to arriving at the next.

    travel  The firm's source without its factor (``travel_times(…, road_factor=1)``).

    A drive counts between two visits of one technician that follow each other on one day, both signed,
    at different places. Needs the organisation in scope. Raises RoadsError.
    """
    return learn(_predicted(list(_legs(_visits(organisation))), travel))


def _visits(organisation: Organisation) -> list[_Done]:
    since = timezone.localdate() - timedelta(days=LOOK_BACK_DAYS)
    visits = Visit.objects.filter(
        organisation=organisation,
        planned_on__gte=since,
        technician__isnull=False,
        started_at__isnull=False,
        ended_at__isnull=False,
    )
    latest = visits.order_by("-planned_on", "id").values_list(*_Done.FIELDS)[:MOST_VISITS]
    return sorted((_Done(*row) for row in latest), key=lambda one: (str(one.technician), one.day, one.began))


def _legs(visits: Iterable[_Done]) -> Iterable[_Leg]:
    """Drives between visits that follow each other; one that was not signed breaks the chain."""
    for before, after in pairwise(visits):
        if (before.technician, before.day) != (after.technician, after.day):
            continue
        if {before.state, after.state} != {VisitState.SIGNED}:
            continue
        start, end = before.place, after.place
        if start and end and start != end:
            yield _Leg(start, end, (after.began - before.ended).total_seconds())


def _predicted(legs: Sequence[_Leg], travel: TravelTimes) -> list[Drive]:
    points = sorted({point for leg in legs for point in (leg.start, leg.end)})
    if not points:
        return []
    seconds = travel.matrix(points).seconds
    place = {point: here for here, point in enumerate(points)}
    drives = [Drive(seconds[place[leg.start]][place[leg.end]], leg.measured_s) for leg in legs]
    return [drive for drive in drives if drive.predicted_s != NO_ROAD]
