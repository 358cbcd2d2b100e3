"""Putting a plan on people's days, and taking it off again.

A plan is followed by visits of the visits room, through its use cases. Only what differs is written:
publishing twice changes nothing. A visit that has started, is signed or has ended is never touched,
and one that the office planned by hand for the same spa and day counts and stays as it is.
"""

from collections.abc import Iterable, Mapping
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
from service.shell.days import today_at
from service.visits.editing import Refused
from service.visits.models import Visit, VisitKind, VisitState
from service.visits.plan import cancel_visit, change_plan, plan_visit

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
    gone = [item for item in _linked(row) if _may_change(item)]
    for item in gone:
        assert item.visit is not None
        cancel_visit(visit=item.visit, reason=TAKEN_OFF, by=by)
    PlannedVisit.objects.filter(pk__in=[item.pk for item in gone]).update(visit=None)
    row.state, row.published_at, row.published_by = PlanState.DRAFT, None, None
    row.save(update_fields=["state", "published_at", "published_by"])
    note(row, "week_plan.unpublished", by=by, cancelled=len(gone))
    return len(gone)


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
    rows = plan.visits.filter(visit__isnull=False)
    return list(rows.select_related("visit__technician", "visit__organisation"))


def _may_change(item: PlannedVisit) -> bool:
    """Whether the plan's visit is still to come, has not begun and was not planned by hand."""
    visit = item.visit
    if visit is None or item.visit_by_hand or visit.state != VisitState.PLANNED:
        return False
    return visit.planned_on >= today_at(visit.organisation)


class _Following:
    """One pass over a plan's visits beside the visits on people's days."""

    def __init__(self, plan: WeekPlan, by: Person, before: WeekPlan) -> None:
        self.plan, self.by = plan, by
        self.today = today_at(plan.organisation)
        self.rows = list(
            plan.visits.filter(day__isnull=False).select_related(
                "technician", "spa__site__client", "spa__organisation", "visit"
            )
        )
        self.people: dict[UUID, Person] = {}
        self.linked = _linked(before)
        self.by_hand = self._planned_by_hand()
        self.counts = {"planned": 0, "changed": 0, "cancelled": 0, "kept": 0}

    def run(self) -> Published:
        taken = self._pair()
        for row in self.rows:
            held = taken.get(row.pk)
            if held is not None:
                self._keep(row, held)
            elif (own := self._take_by_hand(row)) is not None:
                self._link(row, own, by_hand=True)
            elif row.day is not None and row.day >= self.today:
                self._plan(row)
        used = {held.pk for held in taken.values()}
        self._take_off(held for held in self.linked if held.pk not in used)
        PlannedVisit.objects.bulk_update(self.rows, ["visit", "visit_by_hand"], batch_size=200)
        return Published(**self.counts)

    def _pair(self) -> dict[UUID, PlannedVisit]:
        """For rows of the plan the earlier planned visit whose visit they take over: same day first."""
        free = {(held.key, held.day): held for held in self.linked}
        taken = {
            row.pk: held for row in self.rows if (held := free.pop((row.key, row.day), None)) is not None
        }
        for row in self.rows:
            if row.pk in taken:
                continue
            for place, held in list(free.items()):
                if held.key == row.key and _may_change(held):
                    taken[row.pk] = free.pop(place)
                    break
        return taken

    def _keep(self, row: PlannedVisit, held: PlannedVisit) -> None:
        """Take over a visit; change of it what differs, if it may still be changed.

        One that somebody cancelled stays cancelled: the plan does not bring it back on the same day.
        """
        visit = held.visit
        assert visit is not None
        self._link(row, visit, by_hand=held.visit_by_hand, counted=not _may_change(held))
        if not _may_change(held):
            return
        differs = {name: new for name, new in self._wanted(row).items() if getattr(visit, name) != new}
        if not differs:
            self.counts["kept"] += 1
            return
        change_plan(visit=visit, by=self.by, expected_revision=visit.revision, **differs)
        self.counts["changed"] += 1

    def _plan(self, row: PlannedVisit) -> None:
        visit = plan_visit(spa=row.spa, by=self.by, **self._wanted(row))
        row.visit, row.visit_by_hand = visit, False
        self.counts["planned"] += 1

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

    def _link(self, row: PlannedVisit, visit: Visit, *, by_hand: bool, counted: bool = True) -> None:
        row.visit, row.visit_by_hand = visit, by_hand
        self.counts["kept"] += counted

    def _take_off(self, gone: Iterable[PlannedVisit]) -> None:
        for held in gone:
            if _may_change(held) and held.visit is not None:
                cancel_visit(visit=held.visit, reason=TAKEN_OFF, by=self.by)
                self.counts["cancelled"] += 1
                # A row of this plan that lost its place keeps no visit.
                PlannedVisit.objects.filter(pk=held.pk, day=None).update(visit=None)

    def _planned_by_hand(self) -> Mapping[tuple[UUID, date], list[Visit]]:
        """Visits on the round's days that no plan made."""
        last = self.plan.monday + timedelta(days=DAYS - 1)
        visits = Visit.objects.filter(
            organisation=self.plan.organisation_id,
            planned_on__range=(self.plan.monday, last),
            kind=VisitKind.ROUND,
        ).exclude(state__in=(VisitState.CANCELLED, VisitState.HANDED_OVER))
        found: dict[tuple[UUID, date], list[Visit]] = {}
        for visit in visits.exclude(pk__in=[held.visit_id for held in self.linked]):
            found.setdefault((visit.spa_id, visit.planned_on), []).append(visit)
        return found

    def _take_by_hand(self, row: PlannedVisit) -> Visit | None:
        assert row.day is not None
        waiting = self.by_hand.get((row.spa_id, row.day))
        return waiting.pop(0) if waiting else None
