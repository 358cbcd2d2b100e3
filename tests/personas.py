"""The same people in every test: two firms, each with somebody in every role."""

from dataclasses import dataclass

from django_scopes import scopes_disabled

from accounts.models import Organisation, Person
from accounts.roles import Role
from service.sites.models import Client, Site, Spa
from tests.factories import (
    ClientAccessFactory,
    ClientFactory,
    OrganisationFactory,
    PersonFactory,
    SiteFactory,
    SpaFactory,
)


@dataclass
class Firm:
    """A firm with one person a role, and one client whose site the rental manager sees.

    ``hidden_client`` belongs to the same firm, but not to the rental manager.
    """

    organisation: Organisation
    people: dict[Role, Person]
    client: Client
    site: Site
    spa: Spa
    hidden_client: Client
    hidden_site: Site
    hidden_spa: Spa

    def __getattr__(self, role: str) -> Person:
        try:
            return self.people[Role(role)]
        except (ValueError, KeyError) as unknown:
            raise AttributeError(role) from unknown


def make_firm(name: str) -> Firm:
    """A firm with people ``owner``, ``office``, ``technician``, ``rental_manager``, ``auditor``."""
    with scopes_disabled():
        organisation = OrganisationFactory(name=name)
        people = {
            role: PersonFactory(
                organisation=organisation,
                email=f"{role.value}@{name.lower().replace(' ', '-')}.example",
                name=f"{role.label} of {name}",
                roles=[role],
            )
            for role in Role
        }
        client = ClientFactory(organisation=organisation)
        site = SiteFactory(client=client)
        spa = SpaFactory(site=site)
        ClientAccessFactory(person=people[Role.RENTAL_MANAGER], client=client)
        hidden_client = ClientFactory(organisation=organisation)
        hidden_site = SiteFactory(client=hidden_client)
        hidden_spa = SpaFactory(site=hidden_site)
    return Firm(organisation, people, client, site, spa, hidden_client, hidden_site, hidden_spa)
