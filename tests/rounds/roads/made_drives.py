"""Signed visits whose drives can be measured: three spas on the equator, 10 km apart; invented."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone

from service.rounds.roads.times import Point
from service.visits.models import VisitState
from tests.factories import SiteFactory, SpaFactory, VisitFactory
from tests.personas import Firm


def signed_day(
    firm: Firm, spas: Sequence[Any], day: datetime, gaps_s: Sequence[int], **of_middle: Any
) -> None:
    """Visits of half an hour one after the other, ``gaps_s`` apart, signed."""
    start = day
    for place, spa in enumerate(spas):
        VisitFactory(
            spa=spa,
            technician=firm.technician,
            planned_on=day.date(),
            started_at=start,
            ended_at=start + timedelta(minutes=30),
            **{"state": VisitState.SIGNED, "verdict": "fit_now", **(of_middle if place == 1 else {})},
        )
        start += timedelta(minutes=30, seconds=gaps_s[place] if place < len(gaps_s) else 0)


def three_spas(firm: Firm) -> list[Any]:
    places = [Point(0, 0), Point(0, 0.08983), Point(0, 0.17966)]
    return [
        SpaFactory(
            site=SiteFactory(
                client=firm.client, latitude=Decimal(str(p.latitude)), longitude=Decimal(str(p.longitude))
            )
        )
        for p in places
    ]


def a_morning(days_ago: int) -> datetime:
    return timezone.now().replace(hour=6, minute=0, second=0, microsecond=0) - timedelta(days=days_ago)
