"""What a week is planned from: what is owed, who works, the drives between, and the plan before."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q

from accounts.models import Organisation
from service.rounds.models import PlannedVisit, PlanState, RoundSettings, WeekPlan
from service.rounds.notes import Note
from service.rounds.owed import DayWindow, Owed, owed_in_week
from service.rounds.problem_of_week import (
    Obligation,
    OpenHours,
    Placed,
    Roads,
    RoundPrices,
    Week,
    Working,
)
from service.rounds.roads.times import Point, TravelTimes
from service.rounds.roster import Place, WorkShift, shifts_in_week
from service.rounds.round_settings import round_settings
from service.rounds.standing_visits import newest_plan, standing_visits, visit_key
from service.rounds.travel import travel_times_for
from service.rounds.week_clock import seconds_into
from service.shell.days import today_at
from service.sites.models import Site
from service.visits.clock import zone_of
from service.visits.models import VisitState

WEEKS_BACK = 4
"""How old a plan may be to be kept close to."""


@dataclass(frozen=True)
class WeekInputs:
    """Everything that is read before a week is planned.

    base  The plan that the new one stays close to: this week's published one, else an earlier week's.
    pins  Visits fixed by hand in this week's newest plan, and visits that were planned by hand.
    """

    organisation: Organisation
    monday: date
    owed: Sequence[Owed]
    shifts: Sequence[WorkShift]
    travel_times: TravelTimes
    prices: RoundPrices = field(default_factory=RoundPrices)
    notes: Sequence[Note] = ()
    base: WeekPlan | None = None
    previous: Sequence[Placed] = ()
    pins: Sequence[Placed] = ()

    @property
    def zone(self) -> ZoneInfo:
        return zone_of(self.organisation)


@dataclass(frozen=True)
class NamedWeek:
    """A week as plain values, and what its keys are called when a person reads them."""

    week: Week
    names: Mapping[str, str]
    spots: Mapping[str, Point]
    road_notes: tuple[str, ...]


def read_inputs(organisation: Organisation, monday: date) -> WeekInputs:
    """Read what the week is planned from. Raises RoadsError when no travel times are to be had."""
    owed = owed_in_week(organisation, monday)
    shifts, about_people = shifts_in_week(organisation, monday)
    base = plan_to_keep_close_to(organisation, monday)
    at_work = {(shift.technician.pk, shift.day) for shift in shifts}
    begun = [row for row in begun_in(base, monday) if (row.technician_id, row.day) in at_work]
    standing = standing_visits(organisation, monday, at_work)
    with_them = with_begun([*owed.owed, *standing.owed], begun, zone_of(organisation))
    return WeekInputs(
        organisation=organisation,
        monday=monday,
        owed=with_them,
        shifts=shifts,
        travel_times=travel_times_for(organisation),
        prices=prices_of(round_settings(organisation)),
        notes=[*owed.notes, *standing.notes, *about_people],
        base=base,
        previous=previous_of(base, monday, with_them),
        pins=[*pins_of(organisation, monday), *standing.pins],
    )


def prices_of(settings: RoundSettings) -> RoundPrices:
    """The firm's prices."""
    return RoundPrices(
        driving_minute=float(settings.price_per_driving_minute),
        kilometre=float(settings.price_per_km),
        overtime_minute=float(settings.price_per_overtime_minute),
        technician_day=float(settings.price_per_technician_day),
        moved_visit=float(settings.price_per_moved_visit),
    )


def named_week(inputs: WeekInputs) -> NamedWeek:
    """The inputs as the planner's plain values."""
    sites = {item.spa.site_id: item.spa.site for item in inputs.owed}
    spots = dict(_spots(sites.values(), inputs.shifts))
    travel = inputs.travel_times.matrix(list(spots.values()))
    places = tuple(spots)
    roads = Roads(
        places, travel.seconds, travel.metres, {places[i]: why for i, why in travel.unreachable.items()}
    )
    week = Week(
        monday=inputs.monday,
        zone=inputs.zone,
        obligations=[_obligation(item) for item in inputs.owed],
        working=[_working(shift) for shift in inputs.shifts],
        roads=roads,
        prices=inputs.prices,
        pins=inputs.pins,
        previous=inputs.previous,
    )
    return NamedWeek(week, _names(inputs, sites.values()), spots, travel.notes)


def plan_to_keep_close_to(organisation: Organisation, monday: date) -> WeekPlan | None:
    """The published plan of this week, else the newest published one of the weeks before."""
    published = WeekPlan.objects.filter(organisation=organisation, state=PlanState.PUBLISHED)
    near = published.filter(monday__lte=monday, monday__gte=monday - timedelta(weeks=WEEKS_BACK))
    return near.order_by("-monday").first()


def previous_of(base: WeekPlan | None, monday: date, owed: Sequence[Owed]) -> list[Placed]:
    """Where the visits of the base are, said of this week: the same weekday, the same person."""
    if base is None:
        return []
    rows = base.visits.filter(day__isnull=False).order_by("day", "technician", "sequence")
    if base.monday == monday:
        # What was to be done on a day that is over, and was not, is owed anew.
        missed = Q(day__lt=today_at(base.organisation), visit__state=VisitState.PLANNED)
        rows = rows.exclude(missed | Q(visit__state=VisitState.CANCELLED))
        return [placed_of(row, zone_of(base.organisation)) for row in rows]
    later = monday - base.monday
    regular = {_sameness(item): item for item in owed if item.agreement and not item.changeover_days}
    return list(_carried(rows, regular, later))


def pins_of(organisation: Organisation, monday: date) -> list[Placed]:
    """Visits that were fixed to their person and day by hand in this week's newest plan."""
    newest = newest_plan(organisation, monday)
    pinned = newest.visits.filter(pinned=True) if newest else ()
    # A visit by hand is pinned by its own day and person, which may have changed since.
    kept = (row for row in pinned if visit_key(row.key) is None)
    return [Placed(row.key, str(row.technician_id), row.day) for row in kept if row.day]


def begun_in(plan: WeekPlan | None, monday: date) -> list[PlannedVisit]:
    """Visits of the week's published plan that have been begun, whatever came of them."""
    if plan is None or plan.monday != monday:
        return []
    rows = plan.visits.filter(day__isnull=False, visit__isnull=False)
    rows = rows.exclude(visit__state__in=(VisitState.PLANNED, VisitState.CANCELLED))
    return list(rows.select_related("spa__site__client", "agreement"))


def with_begun(owed: Sequence[Owed], begun: Sequence[PlannedVisit], zone: ZoneInfo) -> list[Owed]:
    """What is owed, and what has been begun this week: it took its time, and the plan shows it.

    What is owed speaks of the days to come only, the planner of all days of the week.
    """
    rows: dict[str, list[PlannedVisit]] = {}
    for row in begun:
        rows.setdefault(row.key, []).append(row)
    still = [_after(item, rows.pop(item.key, []), zone) for item in owed]
    return [*still, *(_only(mine, zone) for mine in rows.values())]


def _after(item: Owed, begun: Sequence[PlannedVisit], zone: ZoneInfo) -> Owed:
    """What is owed with the days on which it was begun in each of its choices."""
    days = {row.day for row in begun if row.day}
    if not days:
        return item
    choices = [tuple(sorted({*choice, *days})) for choice in item.day_choices if not days & set(choice)]
    moments = _moments(begun, zone) if item.windows else ()
    return replace(
        item, day_choices=tuple(choices) or (tuple(sorted(days)),), windows=(*item.windows, *moments)
    )


def _only(begun: Sequence[PlannedVisit], zone: ZoneInfo) -> Owed:
    first = begun[0]
    days = tuple(sorted(row.day for row in begun if row.day))
    return Owed(
        key=first.key,
        spa=first.spa,
        agreement=first.agreement,
        why=first.why,
        service_minutes=first.service_minutes,
        needs=(),
        day_choices=(days,),
        windows=_moments(begun, zone),
        changeover_days=frozenset(row.day for row in begun if row.changeover and row.day),
        preferred=None,
        not_with=(),
        optional=first.optional,
    )


def _moments(begun: Sequence[PlannedVisit], zone: ZoneInfo) -> tuple[DayWindow, ...]:
    starts = [(row.day, row.start_at.astimezone(zone).time()) for row in begun if row.start_at]
    return tuple(DayWindow(day, start, start) for day, start in starts)


def placed_of(row: PlannedVisit, zone: ZoneInfo) -> Placed:
    """Where a planned visit is. It must have a place."""
    assert row.day is not None
    assert row.start_at is not None
    return Placed(row.key, str(row.technician_id), row.day, seconds_into(row.day, row.start_at, zone))


def _sameness(item: Owed) -> tuple[object, object]:
    return item.agreement.pk if item.agreement else None, item.spa.pk


def _carried(
    rows: Iterable[PlannedVisit], regular: Mapping[tuple[object, object], Owed], later: timedelta
) -> Iterator[Placed]:
    for row in rows:
        item = regular.get((row.agreement_id, row.spa_id))
        day = row.day and row.day + later
        if item and day and any(day in days for days in item.day_choices):
            yield Placed(item.key, str(row.technician_id), day)


def location_of(site: Site) -> str:
    """How a site's place is called in the planner's request; "" without a position."""
    return "" if site.latitude is None or site.longitude is None else f"site:{site.pk}"


def _base_name(place: Place) -> str:
    return f"base:{place.latitude:.5f},{place.longitude:.5f}"


def _spots(sites: Iterable[Site], shifts: Sequence[WorkShift]) -> Iterator[tuple[str, Point]]:
    for site in sites:
        if site.latitude is not None and site.longitude is not None:
            yield location_of(site), Point(float(site.latitude), float(site.longitude))
    for shift in shifts:
        for place in (shift.start, shift.end):
            yield _base_name(place), Point(place.latitude, place.longitude)


def _obligation(item: Owed) -> Obligation:
    return Obligation(
        key=item.key,
        location=location_of(item.spa.site),
        service_minutes=item.service_minutes,
        day_choices=item.day_choices,
        hours=tuple(OpenHours(window.day, window.opens, window.closes) for window in item.windows),
        needs=item.needs,
        not_with=tuple(str(person.pk) for person in item.not_with),
        preferred=str(item.preferred.pk) if item.preferred else None,
        optional=item.optional,
        drop_price=_drop_price(item),
    )


def _drop_price(item: Owed) -> float | None:
    price = item.agreement.drop_price if item.agreement else None
    return None if price is None else float(price)


def _working(shift: WorkShift) -> Working:
    return Working(
        person=str(shift.technician.pk),
        day=shift.day,
        opens=shift.opens,
        closes=shift.closes,
        start=_base_name(shift.start),
        end=_base_name(shift.end),
        pause_opens=shift.break_opens,
        pause_closes=shift.break_closes,
        pause_minutes=shift.break_minutes,
        most_minutes=shift.most_minutes,
        overtime_minutes=shift.overtime_minutes,
        capacity=shift.capacity,
        skills=shift.skills,
    )


def _names(inputs: WeekInputs, sites: Iterable[Site]) -> dict[str, str]:
    names = {item.key: item.spa.name for item in inputs.owed}
    names |= {f"site:{site.pk}": site.name for site in sites}
    for shift in inputs.shifts:
        names |= {_base_name(place): place.name for place in (shift.start, shift.end)}
        name = shift.technician.name
        key = str(shift.technician.pk)
        # A person who begins some days elsewhere is several technicians of the planner.
        names |= {key: name, **{f"{key}/{number}": name for number in range(2, 8)}}
    return names
