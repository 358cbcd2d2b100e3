"""Doing background work: taking a run, saying how far it is, ending it once.

    @background("reports.build_visit_record")
    def build_visit_record(run: Run) -> None:
        step(run, done=0, total=2, doing="Reading the record")
        …
        with finishing(run):
            …the rows that the work leaves behind…

Whoever holds a run holds one ``attempt`` of it. Every write below is conditional on that attempt,
so a worker that was only slow, and whose run has been given to another, can no longer end it.
"""

import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any
from uuid import UUID

from celery import shared_task
from celery.exceptions import SoftTimeLimitExceeded
from django.conf import settings
from django.db import OperationalError, connection, transaction
from django.db.models import F
from django.utils import timezone
from django_scopes import scope, scopes_disabled

from service.runs.ask import stale_after
from service.runs.models import Run, RunState

logger = logging.getLogger(__name__)
Job = Callable[[Run], None]

OUR_FAULT = "Something went wrong on our side. It has been written to the log; try again, or tell the office."
TOO_LONG = "It took longer than {minutes} minutes and was stopped."


class RunFailed(Exception):  # noqa: N818
    """The work cannot be done and a retry would not help. The message is shown to the person who asked."""


class Stopped(Exception):  # noqa: N818
    """The run is no longer this worker's: somebody asked to stop it, or it was given to another."""


def background(name: str) -> Callable[[Job], Job]:
    """Make ``job`` the task called ``name``. Its message carries the run's key and nothing else."""

    def decorate(job: Job) -> Job:
        @shared_task(name=name)
        def task(run_id: str) -> None:
            do_run(UUID(run_id), job)

        return job

    return decorate


def do_run(run_id: UUID, job: Job) -> None:
    """Take the run if it still waits, and do it in its organisation's scope. The one owner of its failure."""
    run = claim(run_id)
    if run is None:
        return
    with scope(organisation=run.organisation), _sign_of_life(run):
        try:
            job(run)
            if _mine(run).exists():
                finish(run)
        except Stopped:
            _mine(run).filter(cancel_asked=True).update(**_end(RunState.CANCELLED))
        except OperationalError:
            # A database that was busy or away: the next sweep gives the run another try.
            logger.exception("Run %s is left for the sweep.", run.pk)
        except RunFailed as failure:
            fail(run, str(failure))
        except SoftTimeLimitExceeded:
            fail(run, TOO_LONG.format(minutes=settings.CELERY_TASK_SOFT_TIME_LIMIT // 60))
        except Exception:
            logger.exception("Run %s (%s) failed.", run.pk, run.task)
            fail(run, OUR_FAULT)


def claim(run_id: UUID) -> Run | None:
    """Take a waiting run; None when another worker has it, or it has ended, or is not there."""
    with scopes_disabled():
        taken = Run.objects.filter(pk=run_id, state=RunState.QUEUED).update(
            state=RunState.RUNNING,
            attempt=F("attempt") + 1,
            seen_at=timezone.now(),
            progress_done=0,
            progress_total=0,
            doing="",
        )
        return Run.objects.select_related("organisation").get(pk=run_id) if taken else None


def step(run: Run, *, done: int, total: int, doing: str) -> None:
    """Say how far the work is. Raises Stopped when it should go no further."""
    going_on = _mine(run).filter(cancel_asked=False)
    if not going_on.update(
        progress_done=done, progress_total=total, doing=doing[:200], seen_at=timezone.now()
    ):
        raise Stopped


def finish(run: Run) -> None:
    """The work is done. Raises Stopped when the run has been taken away meanwhile."""
    if not _mine(run).update(**_end(RunState.DONE), progress_done=F("progress_total"), doing=""):
        raise Stopped


@contextmanager
def finishing(run: Run) -> Iterator[None]:
    """Last writes and end of a run in one transaction: both are kept, or neither."""
    with transaction.atomic():
        finish(run)
        yield


def fail(run: Run, why: str) -> None:
    """The work cannot be done; ``why`` is said to the person who asked."""
    _mine(run).update(**_end(RunState.FAILED), error=why)


def _mine(run: Run) -> Any:
    return Run.objects.filter(pk=run.pk, state=RunState.RUNNING, attempt=run.attempt)


def _end(state: RunState) -> dict[str, Any]:
    return {"state": state, "finished_at": timezone.now()}


@contextmanager
def _sign_of_life(run: Run) -> Iterator[None]:
    """Mark the run as seen while the work goes on, however long one step of it takes."""
    over = threading.Event()

    def mark() -> None:
        while not over.wait(stale_after().total_seconds() / 4):
            with scopes_disabled(), suppress(OperationalError):
                _mine(run).update(seen_at=timezone.now())
        connection.close()

    thread = threading.Thread(target=mark, name=f"run {run.pk}", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
