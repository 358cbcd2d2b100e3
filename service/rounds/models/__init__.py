"""Agreements, guests' bookings, the roster, roads and week plans."""

from service.rounds.models.agreements import (
    Agreement,
    AgreementSkill,
    BarredTechnician,
    Frequency,
    Skill,
)
from service.rounds.models.calendar_links import RoundCalendarLink
from service.rounds.models.calendars import Booking, ChangeoverCalendar
from service.rounds.models.drives import HandDrive
from service.rounds.models.plans import PlannedRound, PlannedVisit, PlanProblem, PlanState, WeekPlan
from service.rounds.models.roads import RoadRow
from service.rounds.models.roster import (
    DayOff,
    DayOffReason,
    Shift,
    TechnicianBase,
    TechnicianSkill,
    Weekday,
)
from service.rounds.models.settings import RoadSource, RoundSettings

__all__ = [
    "Agreement",
    "AgreementSkill",
    "BarredTechnician",
    "Booking",
    "ChangeoverCalendar",
    "DayOff",
    "DayOffReason",
    "Frequency",
    "HandDrive",
    "PlanProblem",
    "PlanState",
    "PlannedRound",
    "PlannedVisit",
    "RoadRow",
    "RoadSource",
    "RoundCalendarLink",
    "RoundSettings",
    "Shift",
    "Skill",
    "TechnicianBase",
    "TechnicianSkill",
    "WeekPlan",
    "Weekday",
]
