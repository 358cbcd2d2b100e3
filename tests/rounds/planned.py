"""A published plan of one round with one visit, without planning anything."""

from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from service.rounds.models import PlannedRound, PlannedVisit, PlanState, WeekPlan
from service.sites.models import Spa


def planned_round(
    technician: Any, spa: Spa, *, at: datetime | None = None, **plan_fields: Any
) -> PlannedRound:
    """A round that begins now, with a visit half an hour later that takes 40 minutes."""
    begins = at or timezone.now().replace(microsecond=0)
    day, owned = begins.date(), {"organisation": technician.organisation}
    state = {"state": PlanState.PUBLISHED, "published_at": begins - timedelta(days=3), **plan_fields}
    monday = day - timedelta(days=day.weekday())
    plan = WeekPlan.objects.create(**owned, monday=monday, title="Planned anew", **state)
    item = PlannedRound.objects.create(
        **owned,
        plan=plan,
        technician=technician,
        day=day,
        start_name="The yard",
        end_name="The yard",
        depart_at=begins,
        back_at=begins + timedelta(minutes=100),
        back_drive_seconds=1800,
        back_drive_metres=21_000,
    )
    PlannedVisit.objects.create(
        **owned,
        plan=plan,
        round=item,
        key=f"key of {spa.pk}",
        spa=spa,
        why="Twice a week",
        technician=technician,
        day=day,
        sequence=1,
        arrive_at=begins + timedelta(minutes=30),
        start_at=begins + timedelta(minutes=30),
        leave_at=begins + timedelta(minutes=70),
        drive_seconds=1800,
        drive_metres=20_400,
        service_minutes=40,
    )
    return item
