"""Tasks of this room."""

from celery import shared_task
from django.utils import timezone

from service.api.once import sweep_kept_answers


@shared_task(name="service.api.sweep")
def sweep() -> None:
    sweep_kept_answers(timezone.now())
