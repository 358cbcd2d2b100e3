"""Putting a plan on people's days, and taking it off again.

A plan is followed by visits of the visits room, through its use cases. Only what differs is written:
publishing twice changes nothing. A visit that has started, is signed or has ended is never touched.
One that the office planned by hand and the plan has taken in gets the plan's day, person and place in
the round, and is never cancelled; one planned since for the same spa and day counts and stays as it is.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import Person
from service.rounds.models import PlannedVisit, PlanState, WeekPlan
from service.rounds.plan_editing import edit_plan, note
from service.rounds.problem_of_week import DAYS
from service.rounds.standing_visits import key_of, visit_key
from service.shell.days import today_at
from service.visits.editing import Refused
from service.visits.models import Visit, VisitKind, VisitState
from service.visits.plan_many import NewVisit, cancel_visits, change_plans, plan_visits

ROWS_AT_ONCE = 100
TAKEN_OFF = "Taken off the week plan."
WEEK_IS_OVER = "This week is over: its plan can no longer be published."


@dataclass(frozen=True)
class Published:
    """What publishing did to people's days: counts of visits."""

    planned: int
    changed: int
    cancelled: int
    kept: int


@transaction.atomic
def publish_week(*, plan: WeekPlan, by: Person, expected_revision: int | None = None) -> Published:
    """Put the plan on people's days, in place of the plan published before.

    Raises NotAllowed, PlanChanged, or Refused (set aside, or the week is over).
    """
    row = edit_plan(plan, by=by, expected_revision=expected_revision)
    if row.state == PlanState.SET_ASIDE:
        raise Refused("This plan was set aside by a newer one. Publish that one, or plan the week anew.")
    if row.monday + timedelta(days=DAYS - 1) < today_at(row.organisation):
        raise Refused(WEEK_IS_OVER)
    before = _standing(row)
    if before is not None and before.pk != row.pk:
        before.state = PlanState.SET_ASIDE
        before.save(update_fields=["state"])
    done = follow(row, by=by, before=before)
    row.state, row.published_at, row.published_by = PlanState.PUBLISHED, timezone.now(), by
    row.save(update_fields=["state", "published_at", "published_by"])
    note(
        row,
        "week_plan.published",
        by=by,
        planned=done.planned,
        changed=done.changed,
        cancelled=done.cancelled,
    )
    return done


@transaction.atomic
def unpublish_week(*, plan: WeekPlan, by: Person, expected_revision: int | None = None) -> int:
    """Take the plan off people's days again; it is a draft afterwards. Returns how many visits went.

    Visits that have started or ended stay, and so do those planned by hand.

    Raises NotAllowed, PlanChanged or Refused (it is not published).
    """
    row = edit_plan(plan, by=by, expected_revision=expected_revision)
    if not row.is_published:
        raise Refused("This plan is not published.")
    today = today_at(row.organisation)
    gone = [item for item in _linked(row) if _may_take_off(item, today)]
    visits = [item.visit for item in gone if item.visit is not None]
    cancel_visits(visits=visits, reason=TAKEN_OFF, by=by)
    PlannedVisit.objects.filter(pk__in=[item.pk for item in gone]).update(visit=None)
    row.state, row.published_at, row.published_by = PlanState.DRAFT, None, None
    row.save(update_fields=["state", "published_at", "published_by"])
    note(row, "week_plan.unpublished", by=by, cancelled=len(gone))
    return len(gone)


@dataclass(frozen=True)
class Foretold:
    """What publishing would do to people's days, visit by visit, with site and technician loaded.

    changed     The visit as it stands on the day, and the plan's that it becomes.
    kept                How many visits stay as they are.
    """

    planned: tuple[PlannedVisit, ...]
    changed: tuple[tuple[Visit, PlannedVisit], ...]
    cancelled: tuple[PlannedVisit, ...]
    kept: int


@transaction.atomic
def foretell_publish(plan: WeekPlan) -> Foretold:
    """What ``publish_week`` would do now. Nothing is changed."""
    before = WeekPlan.objects.filter(
        organisation=plan.organisation_id, monday=plan.monday, state=PlanState.PUBLISHED
    ).first()
    return _Following(plan, None, before or plan).foretell()


@transaction.atomic
def foretell_unpublish(plan: WeekPlan) -> list[PlannedVisit]:
    """The visits that ``unpublish_week`` would take off people's days."""
    today = today_at(plan.organisation)
    return [item for item in _linked(plan) if _may_take_off(item, today)]


def follow(plan: WeekPlan, *, by: Person, before: WeekPlan | None = None) -> Published:
    """Make people's days agree with the plan. Call inside a transaction, the plan's row locked.

    before  The plan whose visits are on people's days now: another one, or this one.
    """
    return _Following(plan, by, before or plan).run()


def _standing(plan: WeekPlan) -> WeekPlan | None:
    """The published plan of the week, locked."""
    plans = WeekPlan.objects.select_for_update(of=("self",))
    return plans.filter(
        organisation=plan.organisation_id, monday=plan.monday, state=PlanState.PUBLISHED
    ).first()


def _linked(plan: WeekPlan) -> list[PlannedVisit]:
    """The plan's visits that are on people's days; those are locked, so that they stay as read."""
    visits = Visit.objects.select_for_update(of=("self",)).filter(planned_visits__plan=plan)
    list(visits.order_by("pk").values_list("pk"))
    rows = plan.visits.filter(visit__isnull=False)
    return list(
        rows.select_related("visit__technician", "visit__organisation", "spa__site", "technician").defer(
            "spa__site__access_code", "spa__site__access_notes"
        )
    )


def _is_open(item: PlannedVisit, today: date) -> bool:
    """Whether the plan's visit is still to come and has not begun."""
    visit = item.visit
    return visit is not None and visit.state == VisitState.PLANNED and visit.planned_on >= today


def _may_take_off(item: PlannedVisit, today: date) -> bool:
    """Whether the plan's visit may be cancelled with the plan: it is open, and the plan's own."""
    return _is_open(item, today) and not item.visit_by_hand


def _may_change(item: PlannedVisit, today: date) -> bool:
    """Whether the plan says where the visit is: it is open, and the plan's own or taken in by it."""
    return _is_open(item, today) and (not item.visit_by_hand or visit_key(item.key) is not None)


class _Following:
    """One pass over a plan's visits beside the visits on people's days."""

    def __init__(self, plan: WeekPlan, by: Person | None, before: WeekPlan) -> None:
        self.plan = plan
        self._by = by
        self.today = today_at(plan.organisation)
        self.rows = list(
            plan.visits.filter(day__isnull=False).select_related(
                "technician", "spa__site__client", "spa__organisation"
            )
        )
        self.people: dict[UUID, Person] = {}
        self.linked = _linked(before)
        self.taken_in = self._taken_in()
        self.by_hand = self._planned_by_hand()
        self.new: list[PlannedVisit] = []
        self.changes: list[tuple[Visit, Mapping[str, Any]]] = []
        self.relinked: list[PlannedVisit] = []
        self.kept = 0

    @property
    def by(self) -> Person:
        assert self._by is not None, "foretelling writes nothing"
        return self._by

    def foretell(self) -> Foretold:
        """The same pairing as ``run``, told instead of done."""
        taken = self._pair()
        planned = [row for row in self.rows if row.pk not in taken and self._is_new(row)]
        changed = [
            (visit, row)
            for row in self.rows
            if (visit := self._visit_of(row, taken)) is not None and self._differences(row, taken)
        ]
        used = {held.pk for held in taken.values()}
        cancelled = [held for held in self.linked if held.pk not in used and _may_take_off(held, self.today)]
        return Foretold(
            tuple(planned), tuple(changed), tuple(cancelled), len(self.rows) - len(planned) - len(changed)
        )

    def _is_new(self, row: PlannedVisit) -> bool:
        if visit_key(row.key) is not None:
            return False
        return self._take_by_hand(row) is None and row.day is not None and row.day >= self.today

    def _visit_of(self, row: PlannedVisit, taken: Mapping[UUID, PlannedVisit]) -> Visit | None:
        """The visit that is on somebody's day already for this row."""
        held = taken.get(row.pk)
        return held.visit if held is not None else self.taken_in.get(row.key)

    def _differences(self, row: PlannedVisit, taken: Mapping[UUID, PlannedVisit]) -> dict[str, Any]:
        """What of a visit changes; nothing of one that may not be changed."""
        held, visit = taken.get(row.pk), self._visit_of(row, taken)
        if visit is None or (held is not None and not _may_change(held, self.today)):
            return {}
        wanted = self._wanted(row)
        if visit_key(row.key) is not None:
            # Its hours are those that the office gave it.
            wanted = {name: wanted[name] for name in ("planned_on", "technician", "sequence")}
        return {name: new for name, new in wanted.items() if getattr(visit, name) != new}

    def run(self) -> Published:
        taken = self._pair()
        for row in self.rows:
            if (visit := self._visit_of(row, taken)) is not None:
                self._keep(row, visit, taken)
            elif visit_key(row.key) is not None:
                # It has begun or was cancelled since the plan was made, and stays so.
                continue
            elif (own := self._take_by_hand(row)) is not None:
                self.kept += 1
                self._link(row, own, by_hand=True)
            elif row.day is not None and row.day >= self.today:
                self.new.append(row)
        gone = self._take_off({held.pk for held in taken.values()})
        change_plans(changes=self.changes, by=self.by)
        self._plan_new()
        PlannedVisit.objects.bulk_update(self.relinked, ["visit", "visit_by_hand"], batch_size=ROWS_AT_ONCE)
        return Published(len(self.new), len(self.changes), gone, self.kept)

    def _pair(self) -> dict[UUID, PlannedVisit]:
        """For rows of the plan the earlier planned visit whose visit they take over: same day first."""
        free = {(held.key, held.day): held for held in self.linked}
        taken = {
            row.pk: held for row in self.rows if (held := free.pop((row.key, row.day), None)) is not None
        }
        movable: dict[str, list[PlannedVisit]] = {}
        for held in free.values():
            if _may_change(held, self.today):
                movable.setdefault(held.key, []).append(held)
        for row in self.rows:
            if row.pk not in taken and (held_back := movable.get(row.key)):
                taken[row.pk] = held_back.pop(0)
        return taken

    def _keep(self, row: PlannedVisit, visit: Visit, taken: Mapping[UUID, PlannedVisit]) -> None:
        """Take over a visit; change of it what differs, if it may still be changed.

        One that somebody cancelled stays cancelled: the plan does not bring it back on the same day.
        """
        held = taken.get(row.pk)
        self._link(row, visit, by_hand=held.visit_by_hand if held is not None else True)
        if differs := self._differences(row, taken):
            self.changes.append((visit, differs))
        else:
            self.kept += 1

    def _plan_new(self) -> None:
        wanted = [NewVisit(spa=row.spa, **self._wanted(row)) for row in self.new]
        for row, visit in zip(self.new, plan_visits(wanted=wanted, by=self.by), strict=True):
            self._link(row, visit, by_hand=False)

    def _wanted(self, row: PlannedVisit) -> dict[str, Any]:
        assert row.technician is not None
        return {
            "planned_on": row.day,
            # One object a person: what a person may do is looked up once.
            "technician": self.people.setdefault(row.technician.pk, row.technician),
            "window_from": row.window_from,
            "window_to": row.window_to,
            "sequence": row.sequence,
            "changeover": row.changeover,
        }

    def _link(self, row: PlannedVisit, visit: Visit, *, by_hand: bool) -> None:
        if (row.visit_id, row.visit_by_hand) == (visit.pk, by_hand):
            return
        row.visit, row.visit_by_hand = visit, by_hand
        self.relinked.append(row)

    def _take_off(self, used: Collection[UUID]) -> int:
        """Cancel what the plan no longer holds; returns how many visits that were."""
        gone = [held for held in self.linked if held.pk not in used and _may_take_off(held, self.today)]
        visits = [held.visit for held in gone if held.visit is not None]
        cancel_visits(visits=visits, reason=TAKEN_OFF, by=self.by)
        # A row of this plan that lost its place keeps no visit.
        lost = PlannedVisit.objects.filter(pk__in=[held.pk for held in gone], day=None)
        lost.update(visit=None)
        return len(visits)

    def _taken_in(self) -> Mapping[str, Visit]:
        """The open visits by hand that the plan has taken in, by its key; locked, so they stay as read."""
        keys = [key for row in self.rows if (key := visit_key(row.key)) is not None]
        visits = Visit.objects.select_for_update(of=("self",)).filter(
            pk__in=keys,
            organisation=self.plan.organisation_id,
            state=VisitState.PLANNED,
            planned_on__gte=self.today,
        )
        return {key_of(visit): visit for visit in visits.select_related("technician", "organisation")}

    def _planned_by_hand(self) -> Mapping[tuple[UUID, date], list[Visit]]:
        """Visits on the round's days that no plan made."""
        last = self.plan.monday + timedelta(days=DAYS - 1)
        visits = Visit.objects.filter(
            organisation=self.plan.organisation_id,
            planned_on__range=(self.plan.monday, last),
            kind=VisitKind.ROUND,
        ).exclude(state__in=(VisitState.CANCELLED, VisitState.HANDED_OVER))
        found: dict[tuple[UUID, date], list[Visit]] = {}
        linked = [held.visit_id for held in self.linked if held.visit_id is not None]
        known = [*linked, *(visit.pk for visit in self.taken_in.values())]
        for visit in visits.exclude(pk__in=known):
            found.setdefault((visit.spa_id, visit.planned_on), []).append(visit)
        return found

    def _take_by_hand(self, row: PlannedVisit) -> Visit | None:
        assert row.day is not None
        waiting = self.by_hand.get((row.spa_id, row.day))
        return waiting.pop(0) if waiting else None
