"""Asking for background work, and asking it to stop."""

import logging
from collections.abc import Mapping
from datetime import timedelta
from functools import partial
from typing import Any
from uuid import UUID

from celery.exceptions import OperationalError
from django.conf import settings
from django.db import transaction
from django.utils import timezone
from kombu.exceptions import ChannelError

from accounts.audit import record_event
from accounts.models import Organisation, Person
from service.celery import app
from service.runs.models import Run, RunState

logger = logging.getLogger(__name__)
# A connection that went stale is opened anew; a queue that is down must not keep the page waiting.
_ONE_RETRY = {"max_retries": 1, "interval_start": 0}


@transaction.atomic
def ask_run(
    *,
    task: str,
    arguments: Mapping[str, Any],
    title: str,
    by: Person | None,
    organisation: Organisation,
    about: UUID | None = None,
) -> Run:
    """Ask for one piece of background work. Call inside the transaction of the change that needs it.

    task       Name of a task made with ``work.background``; named, not imported, so that a room
               may ask for what a room above it does.
    arguments  JSON for the task: keys of rows and choices, nothing about people.
    title      What a person sees: "Visit record of 3 June, Hillside".
    about      Key of the row that it works on, where its runs are looked for by that row.
    by         Who asked; None for the product itself.

    The message leaves after the transaction is kept. A queue that is down loses nothing: the row
    stays, and the sweep sends it.
    """
    run = Run.objects.create(
        organisation=organisation,
        task=task,
        arguments=dict(arguments),
        about=about,
        title=title,
        asked_by=by,
        send_again_at=timezone.now() + stale_after(),
    )
    record_event(action="run.asked", subject=run, by=by, detail={"task": task})
    transaction.on_commit(partial(send, run.pk, task), robust=True)
    return run


@transaction.atomic
def cancel_run(*, run: Run, by: Person) -> bool:
    """Stop a run: at once while it waits, at its next step while it runs. False when it has ended.

    The caller has fetched ``run`` through ``visible_runs(by)``.
    """
    live = Run.objects.filter(pk=run.pk)
    stopped = live.filter(state=RunState.QUEUED).update(
        state=RunState.CANCELLED, cancel_asked=True, finished_at=timezone.now()
    )
    asked = stopped or live.filter(state=RunState.RUNNING, cancel_asked=False).update(cancel_asked=True)
    if asked:
        record_event(action="run.cancelled", subject=run, by=by)
    return bool(asked)


def stale_after() -> timedelta:
    """How long a run may stay silent, or a message untaken, before it counts as lost."""
    return timedelta(seconds=settings.RUN_STALE_SECONDS)


def send(run_id: UUID, task: str) -> bool:
    """Put the nudge for a run into the queue. False when the queue cannot be reached."""
    try:
        app.send_task(
            task, kwargs={"run_id": str(run_id)}, retry_policy={"max_retries": 1, "interval_start": 0}
        )
    except (OperationalError, ChannelError, OSError) as problem:
        logger.warning("Run %s waits: the queue cannot be reached (%s).", run_id, problem)
        return False
    return True
