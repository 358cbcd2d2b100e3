"""What has to be read from the database to say what is owed in some weeks: a fixed number of queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Exists, Max, OuterRef, Q, QuerySet

from accounts.models import Organisation, Person
from service.chemistry.errors import InputError
from service.chemistry.guidelines import get
from service.chemistry.guidelines.duties import DrainInterval
from service.rounds.models import (
    Agreement,
    Booking,
    DayOff,
    Frequency,
    PlannedVisit,
    RoundSettings,
    TechnicianBase,
)
from service.rounds.roster import DAYS_IN_WEEK, days_off_between, technicians_of
from service.rounds.round_settings import round_settings
from service.rounds.stays import Stay
from service.shell.days import today_at
from service.sites.models import Spa
from service.visits.clock import zone_of
from service.visits.due import facility_of
from service.visits.models import Task, TaskKind, TaskState, Visit, VisitKind, VisitState

SERVED = (VisitState.SIGNED, VisitState.ON_SITE, VisitState.PART_DONE)
DAYS_BACK = 28
DAYS_AROUND = 15


@dataclass(frozen=True)
class PastVisit:
    """A visit of the round. served: begun, signed, or planned by hand and still to come; else a plan's."""

    day: date
    served: bool


@dataclass(frozen=True)
class Facts:
    """Everything about some spas in some weeks. Mappings are by spa key."""

    organisation: Organisation
    today: date
    settings: RoundSettings
    agreements: Sequence[Agreement]
    visits: Mapping[UUID, Sequence[PastVisit]]
    stays: Mapping[UUID, Sequence[Stay]]
    closed: Sequence[DayOff]
    skills: Mapping[UUID, frozenset[str]]
    technicians: Mapping[UUID, Person]
    drain_rules: Mapping[UUID, Sequence[DrainInterval]]
    drained: Mapping[UUID, date]


def agreements_of(organisation: Organisation) -> "QuerySet[Agreement]":
    """The firm's agreements with all that planning reads of them."""
    return _agreements(organisation).prefetch_related("skills", "not_with")


def _agreements(organisation: Organisation) -> "QuerySet[Agreement]":
    return Agreement.objects.filter(organisation=organisation).select_related(
        "organisation", "preferred", "spa__organisation", "spa__site__client"
    )


def load_facts(
    organisation: Organisation,
    first: date,
    last: date,
    spas: Collection[UUID] | None = None,
    *,
    with_people: bool = True,
) -> Facts:
    """Facts for the days from ``first`` to ``last``; of these spas only, or of all the firm's.

    with_people  False: who could go, and what an agreement asks of them, is not read.
    """
    loaded = agreements_of(organisation) if with_people else _agreements(organisation)
    agreements = list(
        _of(spas, loaded.filter(starts_on__lte=last))
        .filter(Q(ends_on=None) | Q(ends_on__gte=first))
        .order_by("spa__site__name", "spa__name", "starts_on", "pk")
    )
    by_key = {agreement.spa_id: agreement.spa for agreement in agreements}
    zone = zone_of(organisation)
    technicians = {person.pk: person for person in technicians_of(organisation)} if with_people else {}
    rules = {key: drain_rules(spa) for key, spa in by_key.items()}
    return Facts(
        organisation=organisation,
        today=today_at(organisation),
        settings=round_settings(organisation),
        agreements=agreements,
        visits=_visits(organisation, agreements, first, last, spas),
        stays=_stays(organisation, by_key.values(), first, last, zone, spas),
        closed=_closed(organisation, first, last),
        skills=_skills(organisation, technicians) if with_people else {},
        technicians=technicians,
        drain_rules=rules,
        drained=_drained(organisation, rules, first, zone, spas),
    )


def drain_rules(spa: Spa) -> list[DrainInterval]:
    """What the guideline in force says about draining a spa of this kind; nothing if it is not known."""
    try:
        guideline = get(spa.guideline_in_force())
    except InputError:
        return []
    facility = facility_of(spa.site.client)
    return [rule for rule in guideline.duties.drain_interval if rule.facility in (None, facility)]


def put_on_by_a_plan() -> Exists:
    """Of visits: a plan put it on its day; else somebody planned it by hand."""
    return Exists(PlannedVisit.objects.filter(visit=OuterRef("pk"), visit_by_hand=False))


def _of(spas: Collection[UUID] | None, agreements: "QuerySet[Agreement]") -> "QuerySet[Agreement]":
    return agreements if spas is None else agreements.filter(spa__in=spas)


def _visits(
    organisation: Organisation,
    agreements: Iterable[Agreement],
    first: date,
    last: date,
    spas: Collection[UUID] | None,
) -> dict[UUID, list[PastVisit]]:
    back = {agreement.spa_id: _days_back(agreement) for agreement in agreements}
    rare = {key: days for key, days in back.items() if days > DAYS_BACK}
    since = Q(planned_on__gte=first - timedelta(DAYS_BACK))
    if rare:
        since |= Q(spa__in=rare, planned_on__gte=first - timedelta(max(rare.values())))
    rows = Visit.objects.filter(
        since,
        organisation=organisation,
        planned_on__lte=last,
        kind=VisitKind.ROUND,
        state__in=(*SERVED, VisitState.PLANNED),
    )
    if spas is not None:
        rows = rows.filter(spa__in=spas)
    found: dict[UUID, list[PastVisit]] = defaultdict(list)
    today = today_at(organisation)
    told = rows.annotate(by_plan=put_on_by_a_plan()).order_by("planned_on", "pk")
    for spa_id, day, state, by_plan in told.values_list("spa_id", "planned_on", "state", "by_plan"):
        found[spa_id].append(PastVisit(day, state in SERVED or (not by_plan and day >= today)))
    return dict(found)


def _days_back(agreement: Agreement) -> int:
    weeks = agreement.every_weeks or 1 if agreement.frequency == Frequency.EVERY_WEEKS else 1
    return max((weeks + 1) * DAYS_IN_WEEK, agreement.max_days_between or 0)


def _stays(
    organisation: Organisation,
    spas: Iterable[Spa],
    first: date,
    last: date,
    zone: ZoneInfo,
    only: Collection[UUID] | None,
) -> dict[UUID, list[Stay]]:
    begins = datetime.combine(first - timedelta(DAYS_AROUND), time.min, zone)
    ends = datetime.combine(last + timedelta(DAYS_AROUND), time.min, zone)
    rows = Booking.objects.filter(
        Q(calendar=None) | Q(calendar__archived_at=None),
        organisation=organisation,
        cancelled_at=None,
        leaves_at__gt=begins,
        arrives_at__lt=ends,
    )
    at_site: dict[UUID, list[Spa]] = defaultdict(list)
    for spa in spas:
        at_site[spa.site_id].append(spa)
    if only is not None:
        rows = rows.filter(site__in=at_site)
    found: dict[UUID, list[Stay]] = defaultdict(list)
    fields = ("site_id", "spa_id", "arrives_at", "leaves_at")
    for site_id, spa_id, arrives_at, leaves_at in rows.order_by("arrives_at", "pk").values_list(*fields):
        stay = Stay(_local(arrives_at, zone), _local(leaves_at, zone))
        for spa in at_site.get(site_id, ()):
            if spa_id in (None, spa.pk):
                found[spa.pk].append(stay)
    return dict(found)


def _local(moment: datetime, zone: ZoneInfo) -> datetime:
    return moment.astimezone(zone).replace(tzinfo=None)


def _closed(organisation: Organisation, first: date, last: date) -> list[DayOff]:
    around = timedelta(DAYS_AROUND)
    return list(days_off_between(organisation, first - around, last + around).filter(technician=None))


def _skills(organisation: Organisation, technicians: Mapping[UUID, Person]) -> dict[UUID, frozenset[str]]:
    bases = TechnicianBase.objects.filter(organisation=organisation).prefetch_related("skills")
    known = {base.technician_id: frozenset(skill.name for skill in base.skills.all()) for base in bases}
    return {key: known.get(key, frozenset()) for key in technicians}


def _drained(
    organisation: Organisation,
    rules: Mapping[UUID, Sequence[DrainInterval]],
    first: date,
    zone: ZoneInfo,
    spas: Collection[UUID] | None,
) -> dict[UUID, date]:
    """When each spa was last drained; read only where a set counts longer than the week itself."""
    longest = max((rule.max_days for asked in rules.values() for rule in asked), default=0)
    if longest <= DAYS_IN_WEEK:
        return {}
    since = datetime.combine(first - timedelta(2 * longest), time.min, zone)
    tasks = Task.objects.filter(
        organisation=organisation, kind=TaskKind.DRAIN_REFILL, state=TaskState.DONE, done_at__gte=since
    )
    if spas is not None:
        tasks = tasks.filter(visit__spa__in=spas)
    latest = tasks.order_by("visit__spa").values_list("visit__spa").annotate(last=Max("done_at"))
    return {key: moment.astimezone(zone).date() for key, moment in latest}
