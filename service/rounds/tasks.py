"""Background work of this room."""

from celery import shared_task

from service.rounds.build_week import BUILD_TASK, build
from service.rounds.fetch_calendars import fetch_all_calendars, fetch_calendar
from service.rounds.friday_noon import plan_next_weeks
from service.runs.models import Run
from service.runs.work import background

__all__ = ["build_week", "fetch_all_calendars", "fetch_calendar", "next_weeks"]


@background(BUILD_TASK)
def build_week(run: Run) -> None:
    build(run)


@shared_task(name="rounds.plan_next_weeks")
def next_weeks() -> None:
    plan_next_weeks()
