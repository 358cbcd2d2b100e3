"""The one door to clients, sites and spas: what a person may see, whatever page or task asks.

People who see the firm see all of it, archived rows too. A rental manager sees the clients named
for them, with their sites and spas. Everybody else sees nothing. Needs the organisation in scope.
"""

from django.db.models import QuerySet

from accounts.models import Person
from accounts.roles import Action
from service.sites.models import Client, Site, Spa


def visible_clients(person: Person) -> QuerySet[Client]:
    """Clients that ``person`` may see."""
    clients = Client.objects.filter(organisation=person.organisation_id)
    if person.may(Action.SEE_FIRM):
        return clients
    if person.may(Action.SEE_OWN_CLIENTS):
        return clients.filter(accesses__person=person)
    return clients.none()


def visible_sites(person: Person) -> QuerySet[Site]:
    """Sites of the clients that ``person`` may see."""
    sites = Site.objects.filter(organisation=person.organisation_id)
    if person.may(Action.SEE_FIRM):
        return sites
    return sites.filter(client__in=visible_clients(person))


def visible_spas(person: Person) -> QuerySet[Spa]:
    """Spas at the sites that ``person`` may see."""
    spas = Spa.objects.filter(organisation=person.organisation_id)
    if person.may(Action.SEE_FIRM):
        return spas
    return spas.filter(site__client__in=visible_clients(person))
