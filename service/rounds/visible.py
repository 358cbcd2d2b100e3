"""The one door to agreements, bookings and week plans: what a person may see, whatever page or task asks.

Needs the organisation in scope.
"""

from django.db.models import QuerySet

from accounts.models import Person
from accounts.roles import Action
from service.rounds.models import (
    Agreement,
    Booking,
    ChangeoverCalendar,
    PlannedRound,
    PlannedVisit,
    PlanState,
    WeekPlan,
)


def visible_agreements(person: Person) -> QuerySet[Agreement]:
    """Agreements that ``person`` may see: all the firm's, or none."""
    rows = Agreement.objects.filter(organisation=person.organisation_id)
    return rows if person.may(Action.SEE_FIRM) else rows.none()


def visible_calendars(person: Person) -> QuerySet[ChangeoverCalendar]:
    """Calendars that ``person`` may see: all the firm's, or none."""
    rows = ChangeoverCalendar.objects.filter(organisation=person.organisation_id)
    return rows if person.may(Action.PLAN_VISITS) else rows.none()


def visible_bookings(person: Person) -> QuerySet[Booking]:
    """Bookings that ``person`` may see: all the firm's, or none."""
    rows = Booking.objects.filter(organisation=person.organisation_id)
    return rows if person.may(Action.PLAN_VISITS) else rows.none()


def visible_plans(person: Person) -> QuerySet[WeekPlan]:
    """Plans of the firm: all for who plans, what is published for its other people; none for a client's."""
    plans = WeekPlan.objects.filter(organisation=person.organisation_id)
    if person.may(Action.PLAN_VISITS):
        return plans
    return plans.filter(state=PlanState.PUBLISHED) if person.may(Action.SEE_FIRM) else plans.none()


def visible_planned_visits(person: Person) -> QuerySet[PlannedVisit]:
    """Visits of the plans that ``person`` may see."""
    return PlannedVisit.objects.filter(plan__in=visible_plans(person))


def visible_planned_rounds(person: Person) -> QuerySet[PlannedRound]:
    """Rounds of the plans that ``person`` may see."""
    return PlannedRound.objects.filter(plan__in=visible_plans(person))
