"""Tasks of this room."""

from celery import shared_task

from service.runs.statistics import keep_statistics
from service.runs.sweep import sweep


@shared_task(name="service.runs.sweep")
def sweep_runs() -> None:
    sweep()
    keep_statistics()
