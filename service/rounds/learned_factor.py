"""What a firm's own signed visits say about its drives."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from itertools import pairwise

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


def _visits(organisation: Organisation) -> list[Visit]:
    since = timezone.localdate() - timedelta(days=LOOK_BACK_DAYS)
    visits = Visit.objects.filter(
        organisation=organisation,
        planned_on__gte=since,
        technician__isnull=False,
        started_at__isnull=False,
        ended_at__isnull=False,
    )
    latest = visits.select_related("spa__site").order_by("-planned_on", "id")[:MOST_VISITS]
    return sorted(latest, key=lambda visit: (str(visit.technician_id), visit.planned_on, visit.started_at))


def _legs(visits: Iterable[Visit]) -> Iterable[_Leg]:
    """Drives between visits that follow each other; one that was not signed breaks the chain."""
    for before, after in pairwise(visits):
        if (before.technician_id, before.planned_on) != (after.technician_id, after.planned_on):
            continue
        if {before.state, after.state} != {VisitState.SIGNED}:
            continue
        start, end = _place(before), _place(after)
        if start and end and start != end and before.ended_at and after.started_at:
            yield _Leg(start, end, (after.started_at - before.ended_at).total_seconds())


def _place(visit: Visit) -> Point | None:
    site = visit.spa.site
    if site.latitude is None or site.longitude is None:
        return None
    return Point(float(site.latitude), float(site.longitude))


def _predicted(legs: Sequence[_Leg], travel: TravelTimes) -> list[Drive]:
    points = sorted({point for leg in legs for point in (leg.start, leg.end)})
    if not points:
        return []
    seconds = travel.matrix(points).seconds
    place = {point: here for here, point in enumerate(points)}
    drives = [Drive(seconds[place[leg.start]][place[leg.end]], leg.measured_s) for leg in legs]
    return [drive for drive in drives if drive.predicted_s != NO_ROAD]
