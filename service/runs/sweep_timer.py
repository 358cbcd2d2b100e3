"""Every worker sweeps: when it starts, and then at an even pace.

The sweep must not hang on a process that may be absent (a beat is not part of a small install), and
a run left behind by a killed worker is taken up by the next one to start. Several workers sweeping
at once do no harm. The sweep itself goes through the queue, so that the worker's parent process,
from which children are forked, never opens the database.
"""

import logging
from typing import Any

from celery import bootsteps
from django.conf import settings

logger = logging.getLogger(__name__)


class SweepTimer(bootsteps.StartStopStep):
    """A step of the worker's start: one sweep at once, then one each half stale time."""

    requires = ("celery.worker.components:Timer",)

    def start(self, worker: Any) -> None:
        seconds = max(settings.RUN_STALE_SECONDS / 2, 1)
        self._ask(worker.app, seconds)
        self.entry = worker.timer.call_repeatedly(seconds, self._ask, (worker.app, seconds))

    def stop(self, worker: Any) -> None:
        if getattr(self, "entry", None):
            self.entry.cancel()

    @staticmethod
    def _ask(app: Any, seconds: float) -> None:
        try:
            # A sweep that nobody has taken by the time of the next one is not worth doing.
            app.send_task("service.runs.sweep", expires=seconds, retry=False)
        except app.connection_for_write().connection_errors as problem:
            logger.warning("No sweep: the queue cannot be reached (%s).", problem)
