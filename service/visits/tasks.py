"""Jobs beside the water: what is due and why, what is taken on, done or left."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from accounts.models import Person
from service.visits.clock import why_not_then, zone_of
from service.visits.due import due_jobs, today_at
from service.visits.editing import Refused, edit, note
from service.visits.fresh_fill import FRESH_FILL, Line, lines_for, next_line
from service.visits.models import Task, TaskKind, TaskState, Visit
from service.visits.wording import needed, optional

__all__ = [
    "FRESH_FILL",
    "DueTask",
    "do_task",
    "due_tasks",
    "leave_task",
    "other_jobs",
    "take_on_task",
    "tick_line",
]


@dataclass(frozen=True)
class DueTask:
    """A job on the visit's page.

    why, source, mark  Why it is due, who says so ("common practice, no source"), how far it was checked.
    due_on             The day it fell due; None for a job that somebody took on without being due.
    task               Its row once it was taken on, done or left; None before.
    lines              For a drain and refill: its lines in order.
    next_line          The line whose turn it is; None without lines or at the end.
    """

    kind: str
    label: str
    why: str
    source: str
    mark: str
    due_on: date | None
    task: Task | None
    lines: tuple[Line, ...]
    next_line: Line | None

    @property
    def is_settled(self) -> bool:
        return self.task is not None and self.task.state != TaskState.DUE


def due_tasks(visit: Visit) -> list[DueTask]:
    """What is due at the visit's spa today or was taken on, done or left at the visit.

    Needs ``spa.site.client``, ``spa.organisation`` and ``organisation`` loaded with the visit.
    """
    rows = {task.kind: task for task in visit.tasks.all()}
    jobs = {job.kind: job for job in due_jobs(visit.spa, today_at(visit.spa))}
    shown = []
    for kind in TaskKind:
        job, row = jobs.get(kind), rows.get(kind)
        if job is None and row is None:
            continue
        lines = lines_for(visit.spa) if kind == TaskKind.DRAIN_REFILL else ()
        ticked: Mapping[str, object] = row.lines_done if row else {}
        shown.append(
            DueTask(
                kind=kind,
                label=kind.label,
                why=job.why if job else (row.why if row else ""),
                source=job.source if job else "",
                mark=job.mark if job else "",
                due_on=job.on if job else None,
                task=row,
                lines=lines,
                next_line=next_line(visit.spa, ticked) if lines else None,
            )
        )
    return shown


def other_jobs(shown: Iterable[DueTask]) -> list[TaskKind]:
    """Jobs that nothing asks for today and nobody has taken on: they may be taken on all the same."""
    named = {due.kind for due in shown}
    return [kind for kind in TaskKind if kind not in named]


@transaction.atomic
def take_on_task(*, visit: Visit, kind: str, by: Person, expected_revision: int | None) -> Task:
    """Say that a job will be done at this visit. A drain taken on keeps the old water from being dosed.

    Raises ValidationError for ``kind``, NotAllowed, AlreadySigned, Changed, Refused.
    """
    row = edit(visit, by=by, expected_revision=expected_revision)
    task = _task(row, kind)
    if task.state != TaskState.DUE:
        task.state, task.done_at, task.done_by = TaskState.DUE, None, None
    task.save()
    note(row, "visit.task_changed", by=by, kind=kind, state=task.state)
    return task


@transaction.atomic
def tick_line(
    *,
    visit: Visit,
    key: str,
    by: Person,
    expected_revision: int | None,
    skipped: str = "",
    done_at: datetime | None = None,
) -> Task:
    """Tick the next line of the drain and refill, or pass it with a reason in ``skipped``.

    The order is kept: nothing before the breaker is off. The breaker is never passed.

    Raises Refused (another line comes first), ValidationError, NotAllowed, AlreadySigned, Changed.
    """
    row = edit(visit, by=by, expected_revision=expected_revision)
    task = _task(row, TaskKind.DRAIN_REFILL)
    turn = next_line(row.spa, task.lines_done)
    if turn is None or turn.key != key:
        raise Refused(f"First: {turn.text}" if turn else "Every line is done already.")
    skipped = optional(skipped, "skipped", longest=200)
    if skipped and key == FRESH_FILL[0].key:
        raise Refused("The breaker goes off before the level falls. This line cannot be passed.")
    at = _done_at(row, done_at)
    task.lines_done = {**task.lines_done, key: {"at": at.isoformat(), "skipped": skipped}}
    task.save()
    note(row, "visit.task_changed", by=by, kind=task.kind, line=key, passed=bool(skipped))
    return task


@transaction.atomic
def do_task(
    *,
    visit: Visit,
    kind: str,
    by: Person,
    expected_revision: int | None,
    remark: str = "",
    done_at: datetime | None = None,
) -> Task:
    """Record a job as done. A drain and refill is done once all its lines are.

    Raises Refused, ValidationError by field, NotAllowed, AlreadySigned, Changed.
    """
    row = edit(visit, by=by, expected_revision=expected_revision)
    task = _task(row, kind)
    turn = next_line(row.spa, task.lines_done) if kind == TaskKind.DRAIN_REFILL else None
    if turn is not None:
        raise Refused(f"A line is still open: {turn.text}")
    task.note = optional(remark, "remark")
    task.state, task.done_at, task.done_by = TaskState.DONE, _done_at(row, done_at), by
    task.save()
    note(row, "visit.task_changed", by=by, kind=kind, state=task.state)
    return task


@transaction.atomic
def leave_task(*, visit: Visit, kind: str, reason: str, by: Person, expected_revision: int | None) -> Task:
    """Record that a job that is due was not done, and why.

    Raises Refused (a drain that has begun), ValidationError by field, NotAllowed, AlreadySigned, Changed.
    """
    row = edit(visit, by=by, expected_revision=expected_revision)
    task = _task(row, kind)
    if task.lines_done:
        raise Refused("The drain has begun. Finish its lines, or pass them with a reason.")
    task.note = needed(reason, "reason", "Say why it is left.")
    task.state, task.done_at, task.done_by = TaskState.NOT_DONE, None, by
    task.save()
    note(row, "visit.task_changed", by=by, kind=kind, state=task.state)
    return task


def write_down_what_is_left(visit: Visit) -> None:
    """Rows for what was due and not done, before the visit is signed. Called by signing alone."""
    for due in due_tasks(visit):
        if due.task is None:
            Task.objects.create(
                organisation_id=visit.organisation_id,
                visit=visit,
                kind=due.kind,
                why=_why(due.why, due.source),
                state=TaskState.NOT_DONE,
            )
    Task.objects.filter(visit=visit, state=TaskState.DUE).update(state=TaskState.NOT_DONE)


def _task(visit: Visit, kind: str) -> Task:
    """The visit's row for a kind of job, not yet saved when it is new; its reason as of now."""
    if kind not in TaskKind.values:
        raise ValidationError({"kind": "Choose a task from the list."})
    found = Task.objects.filter(visit=visit, kind=kind).first()
    if found:
        return found
    job = next((job for job in due_jobs(visit.spa, today_at(visit.spa)) if job.kind == kind), None)
    why = _why(job.why, job.source) if job else ""
    return Task(organisation_id=visit.organisation_id, visit=visit, kind=kind, why=why)


def _why(why: str, source: str) -> str:
    return f"{why} ({source})"[:300]


def _done_at(visit: Visit, moment: datetime | None) -> datetime:
    if moment is None:
        return timezone.now()
    if wrong := why_not_then(moment, since=visit.started_at, zone=zone_of(visit.organisation)):
        raise ValidationError({"done_at": wrong})
    return moment
