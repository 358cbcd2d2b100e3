"""Queues again what a crash left behind."""

from datetime import datetime, timedelta

from django.utils import timezone
from django_scopes import scopes_disabled

from service.runs.ask import send, stale_after
from service.runs.models import Run, RunState

ATTEMPTS_MAX = 3
LONGEST_WAIT = timedelta(hours=1)
GAVE_UP = f"It was started {ATTEMPTS_MAX} times and each time the worker stopped before the end."


def sweep(now: datetime | None = None) -> int:
    """Give runs of silent workers back, and send again what nobody took. Returns how many were sent.

    May run anywhere, any number of times at once: every change is conditional on what was read.
    Of a run that nobody takes the waits double, so that a long queue is not filled with copies.
    """
    now = now or timezone.now()
    with scopes_disabled():
        _end_lost_runs(now)
        return sum(_send_again(run, now) for run in _unsent(now))


def _end_lost_runs(now: datetime) -> None:
    lost = Run.objects.filter(state=RunState.RUNNING, seen_at__lt=now - stale_after())
    lost.filter(cancel_asked=True).update(state=RunState.CANCELLED, finished_at=now)
    lost.filter(attempt__gte=ATTEMPTS_MAX).update(state=RunState.FAILED, finished_at=now, error=GAVE_UP)
    lost.update(state=RunState.QUEUED, seen_at=now, send_again_at=now, doing="")


def _unsent(now: datetime) -> list[Run]:
    return list(
        Run.objects.filter(state=RunState.QUEUED, send_again_at__lte=now).order_by("created_at")[:500]
    )


def _send_again(run: Run, now: datetime) -> bool:
    waited = min(max(now - run.seen_at, stale_after()), LONGEST_WAIT)
    still_waiting = Run.objects.filter(
        pk=run.pk, state=RunState.QUEUED, attempt=run.attempt, send_again_at=run.send_again_at
    )
    if not still_waiting.update(send_again_at=now + waited):
        return False
    if send(run.pk, run.task):
        return True
    Run.objects.filter(pk=run.pk, state=RunState.QUEUED).update(send_again_at=run.send_again_at)
    return False
