"""A planned week as rows: the plan, its rounds, its visits, and the problem it answers."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import date, time
from typing import TYPE_CHECKING, Any
from uuid import UUID

from accounts.models import Person
from service.rounds.figures import Placement, figures_of, moves_between
from service.rounds.models import PlannedRound, PlannedVisit, PlanProblem, PlanState, WeekPlan
from service.rounds.owed import Owed
from service.rounds.plan_editing import note
from service.rounds.plan_values import RoundValue
from service.rounds.problem_of_week import LeftOut, Placed
from service.rounds.roster import WorkShift
from service.rounds.week_clock import seconds_into, span_of
from service.rounds.week_inputs import NamedWeek, WeekInputs
from service.runs.models import Run

if TYPE_CHECKING:
    from service.rounds.build_week import Built

Places = Mapping[tuple[str, date], WorkShift]


def keep_plan(
    inputs: WeekInputs,
    named: NamedWeek,
    built: "Built",
    *,
    run: Run | None,
    title: str,
    by: Person | None = None,
) -> WeekPlan:
    """Keep a week as a draft; earlier drafts of it are set aside. Call inside a transaction."""
    _set_aside_drafts(inputs)
    plan = _plan_row(inputs, named, built, run, title, by)
    plan.save()
    keeper = _Keeper(inputs, plan)
    rounds = [keeper.round(value) for value in built.value.rounds]
    PlannedRound.objects.bulk_create(rounds)
    visits = [
        *(
            row
            for kept, value in zip(rounds, built.value.rounds, strict=True)
            for row in keeper.stops(kept, value)
        ),
        *(keeper.left_out(gone) for gone in built.value.left_out),
    ]
    PlannedVisit.objects.bulk_create(visits, batch_size=200)
    people = dict(built.problem.people)
    content = {"request": _placed_request(named, built), "people": people}
    PlanProblem.objects.create(organisation=inputs.organisation, plan=plan, packed=PlanProblem.pack(content))
    moved, changed = moves_between(placement(inputs.previous), placement_of_rows(visits))
    plan.figures = figures_of(rounds, visits, inputs.zone, moved=moved, changed_hands=changed).as_json()
    plan.save(update_fields=["figures"])
    note(plan, "week_plan.made", by=by or (run.asked_by if run else None), monday=plan.monday.isoformat())
    return plan


def placement(placed: Sequence[Placed]) -> Placement:
    """Days and people by key."""
    found: dict[str, dict[date, object]] = {}
    for item in placed:
        found.setdefault(item.key, {})[item.day] = item.person
    return found


def placement_of_rows(visits: Sequence[PlannedVisit]) -> Placement:
    """The same of a plan's rows; what has no place is left out."""
    found: dict[str, dict[date, object]] = {}
    for row in visits:
        if row.day is not None:
            found.setdefault(row.key, {})[row.day] = str(row.technician_id)
    return found


def _placed_request(named: NamedWeek, built: "Built") -> dict[str, Any]:
    """The request, its places with position and name, so that another place can be added later."""
    request = built.problem.request
    places = [
        {**place, "at": [spot.latitude, spot.longitude], "name": named.names.get(place["id"], "")}
        for place in request["locations"]
        for spot in [named.spots[place["id"]]]
    ]
    return {**request, "locations": places}


def _set_aside_drafts(inputs: WeekInputs) -> None:
    drafts = WeekPlan.objects.filter(
        organisation=inputs.organisation, monday=inputs.monday, state=PlanState.DRAFT
    )
    drafts.update(state=PlanState.SET_ASIDE)


def _plan_row(
    inputs: WeekInputs, named: NamedWeek, built: "Built", run: Run | None, title: str, by: Person | None
) -> WeekPlan:
    source = inputs.travel_times
    about = [{"about": str(item.subject or ""), "text": item.text} for item in inputs.notes]
    about += [{"about": "Driving times", "text": text} for text in named.road_notes]
    return WeekPlan(
        organisation=inputs.organisation,
        monday=inputs.monday,
        title=title,
        based_on=inputs.base,
        run=run,
        seconds=round(built.effort.seconds),
        stopped_early=built.stopped_early,
        travel_source=source.source[:60],
        travel_version=source.version[:120],
        travel_honesty=source.honesty[:400],
        travel_attribution=source.attribution[:200],
        prices=asdict(inputs.prices),
        notes=about,
        made_by=by or (run.asked_by if run else None),
    )


class _Keeper:
    """Makes the rows of one plan."""

    def __init__(self, inputs: WeekInputs, plan: WeekPlan) -> None:
        self.inputs, self.plan = inputs, plan
        self.owed: dict[str, Owed] = {item.key: item for item in inputs.owed}
        self.pinned = {(pin.key, pin.day) for pin in inputs.pins}

    def round(self, value: RoundValue) -> PlannedRound:
        shift = self._shift(value)
        return PlannedRound(
            organisation=self.inputs.organisation,
            plan=self.plan,
            technician_id=UUID(value.person),
            day=value.day,
            start_name=shift.start.name if shift else "",
            end_name=shift.end.name if shift else "",
            depart_at=value.depart,
            back_at=value.back,
            back_drive_seconds=value.back_drive_seconds,
            back_drive_metres=value.back_drive_metres,
            overtime_seconds=value.overtime_seconds,
            pause_from=value.pause[0] if value.pause else None,
            pause_to=value.pause[1] if value.pause else None,
        )

    def stops(self, kept: PlannedRound, value: RoundValue) -> Iterator[PlannedVisit]:
        for stop in value.stops:
            item = self.owed[stop.key]
            row = self._row(item)
            row.round, row.technician_id, row.day = kept, kept.technician_id, value.day
            row.sequence = stop.sequence
            row.arrive_at, row.start_at, row.leave_at = stop.arrive, stop.start, stop.leave
            row.drive_seconds, row.drive_metres = stop.drive_seconds, stop.drive_metres
            start = seconds_into(value.day, stop.start, self.inputs.zone)
            row.window_from, row.window_to = window_on(item, value.day, start, self.inputs)
            row.changeover = value.day in item.changeover_days
            row.pinned = (stop.key, value.day) in self.pinned
            yield row

    def left_out(self, gone: LeftOut) -> PlannedVisit:
        row = self._row(self.owed[gone.key])
        row.reason, row.would_fit_if = gone.reason[:600], gone.would_fit_if[:600]
        return row

    def _row(self, item: Owed) -> PlannedVisit:
        return PlannedVisit(
            organisation=self.inputs.organisation,
            plan=self.plan,
            key=item.key,
            spa=item.spa,
            agreement=item.agreement,
            why=item.why[:200],
            service_minutes=item.service_minutes,
            optional=item.optional,
        )

    def _shift(self, value: RoundValue) -> WorkShift | None:
        """The shift that a round lies in: of two on one day the one that opens last before it."""
        mine = [
            shift
            for shift in self.inputs.shifts
            if str(shift.technician.pk) == value.person and shift.day == value.day
        ]
        begins = seconds_into(value.day, value.depart, self.inputs.zone)
        open_by_then = [
            shift
            for shift in mine
            if span_of(shift.day, shift.opens, shift.closes, self.inputs.zone)[0] <= begins
        ]
        return max(open_by_then or mine, key=lambda shift: shift.opens, default=None)


def window_on(item: Owed, day: date, start: int, inputs: WeekInputs) -> tuple[time | None, time | None]:
    """The hours that a visit's beginning lies in on a day, as clock times; none when any time will do."""
    for window in item.windows:
        if window.day in (None, day):
            opens, closes = span_of(day, window.opens, window.closes, inputs.zone)
            if opens <= start <= closes:
                # A visit's own window is of one day: what runs past midnight has no end there.
                return window.opens, window.closes if window.closes > window.opens else None
    return None, None
