"""Moving a visit of a plan by hand; pins; taking it off its round."""

from datetime import date

from django.db import transaction

from accounts.models import Person
from service.rounds.models import PlannedVisit, WeekPlan
from service.rounds.move_effect import HAS_BEGUN, Move, MoveEffect, has_begun, preview_move
from service.rounds.plan_editing import edit_standing_plan, note
from service.rounds.standing_visits import visit_key
from service.rounds.write_rounds import board_of, settle, write_rounds
from service.visits.editing import Refused

TAKEN_OFF_BY_HAND = "Taken off its round by hand."
PLANNED_BY_HAND = "This visit was planned by hand. Cancel it on its own page, or move it to another round."


@transaction.atomic
def move_visit(
    *,
    planned: PlannedVisit,
    technician: Person,
    day: date,
    by: Person,
    position: int | None = None,
    expected_revision: int | None = None,
) -> MoveEffect:
    """Move a visit. In a published plan the visits on people's days follow at once.

    Raises NotAllowed, PlanChanged or Refused, as ``preview_move``.
    """
    plan = edit_standing_plan(planned.plan, by=by, expected_revision=expected_revision)
    row = _fresh(planned, plan)
    effect = preview_move(row, technician, day, position)
    write_rounds(plan, board_of(plan), effect.timed, moved=(row.pk,))
    settle(plan, by=by)
    note(
        plan, "week_plan.visit_moved", by=by, spa=str(row.spa_id), day=day.isoformat(), to=str(technician.pk)
    )
    return effect


@transaction.atomic
def pin(*, planned: PlannedVisit, by: Person, expected_revision: int | None = None) -> None:
    """Fix a visit to its person and day: planning anew keeps it there.

    Raises NotAllowed, PlanChanged or Refused (it has no place).
    """
    _set_pinned(planned, True, by, expected_revision)


@transaction.atomic
def unpin(*, planned: PlannedVisit, by: Person, expected_revision: int | None = None) -> None:
    """Let a visit be moved again when the week is planned anew. Raises as ``pin``."""
    _set_pinned(planned, False, by, expected_revision)


@transaction.atomic
def unassign(*, planned: PlannedVisit, by: Person, expected_revision: int | None = None) -> None:
    """Take a visit off its round; it waits among those without a place.

    Raises NotAllowed, PlanChanged, or Refused (it has no place, has begun, or was planned by hand).
    """
    plan = edit_standing_plan(planned.plan, by=by, expected_revision=expected_revision)
    row = _fresh(planned, plan)
    if row.day is None:
        raise Refused("This visit is on no round.")
    if has_begun(row):
        raise Refused(HAS_BEGUN)
    if visit_key(row.key) is not None:
        raise Refused(PLANNED_BY_HAND)
    move = Move(row, row.technician, row.day) if row.technician else None
    left = move.left() if move else None
    row.pinned = False
    _clear(row, TAKEN_OFF_BY_HAND)
    write_rounds(plan, move.board if move else board_of(plan), [left] if left else [])
    settle(plan, by=by)
    note(plan, "week_plan.visit_unassigned", by=by, spa=str(row.spa_id))


def _fresh(planned: PlannedVisit, plan: WeekPlan) -> PlannedVisit:
    row = plan.visits.select_related("spa", "technician", "visit", "round").get(pk=planned.pk)
    row.plan = plan
    return row


def _clear(row: PlannedVisit, reason: str) -> None:
    """Take the place from a planned visit."""
    row.round = row.technician = row.day = row.arrive_at = row.start_at = row.leave_at = None
    row.sequence = row.drive_seconds = row.drive_metres = 0
    row.window_from = row.window_to = None
    row.reason = reason
    row.save()


def _set_pinned(planned: PlannedVisit, value: bool, by: Person, expected_revision: int | None) -> None:
    plan = edit_standing_plan(planned.plan, by=by, expected_revision=expected_revision)
    row = _fresh(planned, plan)
    if row.day is None:
        raise Refused("This visit is on no round: there is no place to pin it to.")
    row.pinned = value
    row.save(update_fields=["pinned"])
    note(plan, "week_plan.visit_pinned" if value else "week_plan.visit_unpinned", by=by, spa=str(row.spa_id))
