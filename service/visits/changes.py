"""When the water of a visit was last changed. Asks nothing of a visit whose parts are loaded (``whole``)."""

from collections.abc import Iterable
from datetime import datetime

from service.visits.models import StepState, Task, TaskKind, TaskState, TreatmentStep, Visit

CHANGES_WATER = ("add", "replace_water")
# The line of the fresh-fill sequence at which the old water has gone and the new stands in the spa.
FILLED_LINE = "filled"


def done_changes(visit: Visit) -> list[TreatmentStep]:
    """Doses and water replacements that were really done at this visit, in the order of their time."""
    done = [
        step for step in visit.steps.all() if step.state == StepState.DONE and step.action in CHANGES_WATER
    ]
    return sorted(done, key=lambda step: (step.done_at or step.decision.made_at, step.order))


def drained_at(visit: Visit) -> datetime | None:
    """When the spa stood full of new water at this visit; None when it was not drained and refilled."""
    task = next((task for task in visit.tasks.all() if task.kind == TaskKind.DRAIN_REFILL), None)
    return filled_at(task) if task else None


def drain_planned(visit: Visit) -> bool:
    """Whether a drain was taken on and the old water is still in the spa: it is not dosed any more."""
    taken_on = any(
        task.kind == TaskKind.DRAIN_REFILL and task.state == TaskState.DUE for task in visit.tasks.all()
    )
    return taken_on and drained_at(visit) is None


def filled_at(task: Task) -> datetime | None:
    """When a drain and refill had the new water in: its line for the filling, else the task's own end."""
    if line := task.lines_done.get(FILLED_LINE):
        return None if line["skipped"] else datetime.fromisoformat(line["at"])
    return task.done_at if task.state == TaskState.DONE else None


def last_change(visit: Visit) -> datetime | None:
    """When something was last added to the water or the water replaced; None when nothing was."""
    return latest([step.done_at for step in done_changes(visit)] + [drained_at(visit)])


def latest(moments: Iterable[datetime | None]) -> datetime | None:
    """The latest of the moments that are known."""
    return max((moment for moment in moments if moment is not None), default=None)
