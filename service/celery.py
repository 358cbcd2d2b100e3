"""The worker's way in. Queues: ``default``, ``weeks`` (plans), ``reports`` (PDF)."""

import os

from celery import Celery

from service.runs.sweep_timer import SweepTimer

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "service.settings")

app = Celery("runnel")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(
    ["service.runs", "service.visits", "service.rounds", "service.importing", "service.api", "reports"]
)
app.steps["worker"].add(SweepTimer)
