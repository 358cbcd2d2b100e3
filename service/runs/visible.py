"""Whose runs a person sees: the office sees the firm's, everybody else what they asked for."""

from django.db.models import QuerySet

from accounts.models import Person
from accounts.roles import Action
from service.runs.models import Run


def visible_runs(person: Person) -> QuerySet[Run]:
    """The one door to runs for pages and the API."""
    runs = Run.objects.filter(organisation=person.organisation_id).select_related("asked_by")
    return runs if person.may(Action.PLAN_VISITS) else runs.filter(asked_by=person)
