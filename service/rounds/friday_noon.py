"""Next week's plan, made by itself on Friday at noon, in each firm's own zone."""

from datetime import datetime, time, timedelta

from django.utils import timezone
from django_scopes import scope

from accounts.models import Organisation
from service.rounds.build_week import BUILD_TASK, ask_build
from service.rounds.models import Agreement, Shift, WeekPlan
from service.runs.models import Run
from service.visits.clock import zone_of
from service.visits.editing import Refused

FRIDAY, NOON = 4, time(12)
TITLE = "Planned on Friday at noon"


def plan_next_weeks(now: datetime | None = None) -> int:
    """Ask for next week's plan at every firm where it is past Friday noon and nobody has yet.

    May run at any pace and any number of times: a week that has a plan, or was asked for, is left
    alone. Returns how many were asked for.
    """
    moment = now or timezone.now()
    asked = 0
    for organisation in Organisation.objects.order_by("pk"):
        with scope(organisation=organisation):
            asked += _ask(organisation, moment)
    return asked


def _ask(organisation: Organisation, now: datetime) -> bool:
    local = now.astimezone(zone_of(organisation))
    if local.weekday() < FRIDAY or (local.weekday() == FRIDAY and local.time() < NOON):
        return False
    monday = local.date() + timedelta(days=7 - local.weekday())
    if not Agreement.objects.exists() or not Shift.objects.exists():
        return False
    if WeekPlan.objects.filter(monday=monday).exists() or _was_asked(organisation, monday.isoformat()):
        return False
    try:
        ask_build(organisation, monday, by=None, title=TITLE)
    except Refused:  # somebody asked in the meantime
        return False
    return True


def _was_asked(organisation: Organisation, monday: str) -> bool:
    """Whether a run was asked for, whatever became of it: one that failed is not asked for every hour."""
    runs = Run.objects.filter(organisation=organisation, task=BUILD_TASK)
    return runs.filter(arguments__monday=monday).exists()
