"""The one door to visits and records: what a person may see, whatever page or task asks.

Needs the organisation in scope.
"""

from django.db.models import QuerySet

from accounts.models import Person
from accounts.roles import Action
from service.sites.visible import visible_clients
from service.visits.models import Record, Visit


def visible_visits(person: Person) -> QuerySet[Visit]:
    """Visits that ``person`` may see: all of the firm, those of the clients named for them, or none."""
    visits = Visit.objects.filter(organisation=person.organisation_id)
    if person.may(Action.SEE_FIRM):
        return visits
    return visits.filter(spa__site__client__in=visible_clients(person))


def visible_records(person: Person) -> QuerySet[Record]:
    """Signed records of the visits that ``person`` may see."""
    records = Record.objects.filter(organisation=person.organisation_id)
    if person.may(Action.SEE_FIRM):
        return records
    return records.filter(visit__spa__site__client__in=visible_clients(person))
