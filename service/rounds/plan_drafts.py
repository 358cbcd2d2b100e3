"""Keeping several plans of a week: putting one aside, and taking one up again."""

from django.db import transaction

from accounts.models import Person
from service.rounds.models import PlanState, WeekPlan
from service.rounds.plan_editing import edit_plan, note
from service.visits.editing import Refused


@transaction.atomic
def set_plan_aside(*, plan: WeekPlan, by: Person, expected_revision: int | None = None) -> None:
    """Put a draft aside; it can be looked at, compared and taken up again.

    Raises NotAllowed, PlanChanged, or Refused (it is published).
    """
    row = edit_plan(plan, by=by, expected_revision=expected_revision)
    if row.state != PlanState.DRAFT:
        raise Refused("Only a draft can be put aside. Take a published plan off people's days first.")
    _become(row, PlanState.SET_ASIDE, "week_plan.set_aside", by)


@transaction.atomic
def take_plan_up(*, plan: WeekPlan, by: Person, expected_revision: int | None = None) -> None:
    """Make a plan that was put aside a draft again.

    Raises NotAllowed, PlanChanged, or Refused (it was not put aside).
    """
    row = edit_plan(plan, by=by, expected_revision=expected_revision)
    if row.state != PlanState.SET_ASIDE:
        raise Refused("This plan was not put aside.")
    _become(row, PlanState.DRAFT, "week_plan.taken_up", by)


def _become(row: WeekPlan, state: PlanState, action: str, by: Person) -> None:
    row.state = state
    row.save(update_fields=["state"])
    note(row, action, by=by)
