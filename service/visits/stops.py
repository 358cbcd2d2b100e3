"""A person's day: the stops, in driving order."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from uuid import UUID

from django.utils import timezone

from accounts.models import Person
from service.sites.models import Site
from service.visits.fitness import Fitness, fitness_of_spas
from service.visits.models import Visit, VisitState

_NOT_OF_THE_DAY = (VisitState.CANCELLED, VisitState.HANDED_OVER)


@dataclass(frozen=True)
class Stop:
    """The visits of one person at one site on one day, in their order.

    window_from, window_to  Earliest and latest that any of the visits allows; None: no limit.
    fitness                 The spas' fitness now, by key.
    """

    site: Site
    visits: tuple[Visit, ...]
    window_from: time | None
    window_to: time | None
    fitness: Mapping[UUID, Fitness]

    @property
    def is_done(self) -> bool:
        return not any(visit.is_open for visit in self.visits)


def stops_of_day(person: Person, day: date, *, now: datetime | None = None) -> list[Stop]:
    """The stops of ``person`` on ``day``; three queries. Visits come with spa, site and client.

    The order is that of the first visit at each site; cancelled and handed-over visits are left out.
    """
    visits = (
        Visit.objects.filter(organisation=person.organisation_id, technician=person, planned_on=day)
        .exclude(state__in=_NOT_OF_THE_DAY)
        .select_related("spa__site__client", "spa__organisation", "organisation", "technician")
    )
    by_site: dict[UUID, list[Visit]] = {}
    for visit in visits:
        by_site.setdefault(visit.spa.site_id, []).append(visit)
    fitness = fitness_of_spas({visit.spa_id: visit.spa for visit in visits}.values(), now or timezone.now())
    return [_stop(together, fitness) for together in by_site.values()]


def _stop(visits: list[Visit], fitness: Mapping[UUID, Fitness]) -> Stop:
    return Stop(
        site=visits[0].spa.site,
        visits=tuple(visits),
        window_from=min((visit.window_from for visit in visits if visit.window_from), default=None),
        window_to=max((visit.window_to for visit in visits if visit.window_to), default=None),
        fitness={visit.spa_id: fitness[visit.spa_id] for visit in visits},
    )
