"""The one way to write on a week plan: allowed, and not changed by somebody else meanwhile."""

from typing import Any

from accounts.access import NotAllowed, require
from accounts.audit import record_event
from accounts.models import AuditEvent, Person
from accounts.roles import Action
from service.rounds.models import PlanState, WeekPlan
from service.visits.editing import Change, Refused

# What each entry of the audit trail is called when somebody is told of it.
_CHANGED_WORDS = {
    "week_plan.made": "planned the week",
    "week_plan.published": "published the plan",
    "week_plan.unpublished": "took the plan back",
    "week_plan.visit_moved": "moved a visit",
    "week_plan.visit_pinned": "pinned a visit",
    "week_plan.visit_unpinned": "unpinned a visit",
    "week_plan.visit_unassigned": "took a visit off its round",
    "week_plan.urgent_taken": "put in an urgent visit",
    "week_plan.set_aside": "set the plan aside",
    "week_plan.taken_up": "took the plan up again",
}


class PlanChanged(Refused):
    """Somebody changed the plan since the page was opened. Nothing was saved.

    revision   The plan's revision now: what to send along when saving again.
    changes    What was done since, newest first.
    """

    def __init__(self, revision: int, changes: tuple[Change, ...]) -> None:
        done = "; ".join(f"{change.by} {change.what}" for change in changes)
        super().__init__(
            f"This plan was changed meanwhile: {done or 'by somebody else'}. Look at it again, then repeat."
        )
        self.revision = revision
        self.changes = changes


def edit_plan(plan: WeekPlan, *, by: Person, expected_revision: int | None) -> WeekPlan:
    """The plan's row as it stands now, locked until the transaction ends, its revision one higher.

    expected_revision  The revision that the person saw; None when it does not matter.

    Raises NotAllowed or PlanChanged.
    """
    require(by, Action.PLAN_VISITS)
    if plan.organisation_id != by.organisation_id:
        raise NotAllowed(Action.PLAN_VISITS)
    row = WeekPlan.objects.select_for_update(of=("self",)).select_related("organisation").get(pk=plan.pk)
    if expected_revision is not None and row.revision != expected_revision:
        raise PlanChanged(row.revision, changes_since(row, expected_revision))
    row.revision += 1
    row.save(update_fields=["revision"])
    return row


def edit_standing_plan(plan: WeekPlan, *, by: Person, expected_revision: int | None) -> WeekPlan:
    """As ``edit_plan``, for changing its visits. Raises Refused as well: it was put aside."""
    row = edit_plan(plan, by=by, expected_revision=expected_revision)
    if row.state == PlanState.SET_ASIDE:
        raise Refused("This plan was put aside. Take it up again before changing it.")
    return row


def note(plan: WeekPlan, action: str, /, *, by: Person | None, **detail: Any) -> None:
    """The audit row of a change to a plan, with the revision that it made."""
    record_event(action=action, subject=plan, by=by, detail={"revision": plan.revision, **detail})


def changes_since(plan: WeekPlan, revision: int) -> tuple[Change, ...]:
    """What was done to the plan after a revision, newest first; at most the last 50 entries."""
    events = AuditEvent.objects.filter(
        organisation=plan.organisation_id, subject_type=plan._meta.label_lower, subject_id=str(plan.pk)
    )[:50]
    later = [event for event in events if event.detail.get("revision", 0) > revision]
    people = Person.objects.filter(pk__in={event.actor_id for event in later if event.actor_id})
    names = dict(people.values_list("pk", "name"))
    return tuple(
        Change(
            event.at,
            names.get(event.actor_id, "Somebody") if event.actor_id else "Runnel",
            _CHANGED_WORDS.get(event.action, "changed it"),
        )
        for event in later
    )
