"""Who sees which client, site and spa: the exact set seen and the exact set hidden."""

from collections.abc import Callable
from typing import Any

import pytest
from django_scopes import ScopeError, scope, scopes_disabled

from accounts.roles import Role
from service.sites.models import Client, ClientAccess, Site, Spa
from service.sites.visible import visible_clients, visible_sites, visible_spas
from tests.factories import ClientAccessFactory, PersonFactory, SiteFactory, SpaFactory
from tests.personas import Firm

DOORS = [
    pytest.param(visible_clients, Client, "client", id="clients"),
    pytest.param(visible_sites, Site, "site", id="sites"),
    pytest.param(visible_spas, Spa, "spa", id="spas"),
]
WHOLE_FIRM = [Role.OWNER, Role.OFFICE, Role.TECHNICIAN, Role.AUDITOR]


def _seen_and_hidden(door: Callable[..., Any], model: Any, person: Any) -> tuple[set[Any], set[Any]]:
    with scope(organisation=person.organisation):
        seen = set(door(person))
    with scopes_disabled():
        return seen, set(model.objects.all()) - seen


@pytest.mark.parametrize("role", WHOLE_FIRM)
@pytest.mark.parametrize(("door", "model", "name"), DOORS)
def test_people_of_the_firm_see_all_of_it_and_nothing_of_another(
    firm: Firm, stranger: Firm, role: Role, door: Any, model: Any, name: str
) -> None:
    seen, hidden = _seen_and_hidden(door, model, firm.people[role])

    assert seen == {getattr(firm, name), getattr(firm, f"hidden_{name}")}
    assert hidden == {getattr(stranger, name), getattr(stranger, f"hidden_{name}")}


@pytest.mark.parametrize(("door", "model", "name"), DOORS)
def test_a_rental_manager_sees_the_clients_named_for_them_only(
    firm: Firm, stranger: Firm, door: Any, model: Any, name: str
) -> None:
    seen, hidden = _seen_and_hidden(door, model, firm.rental_manager)

    assert seen == {getattr(firm, name)}
    assert hidden == {
        getattr(firm, f"hidden_{name}"),
        getattr(stranger, name),
        getattr(stranger, f"hidden_{name}"),
    }


@pytest.mark.parametrize(("door", "model", "name"), DOORS)
def test_a_rental_manager_of_two_clients_sees_each_row_once(
    firm: Firm, door: Any, model: Any, name: str
) -> None:
    with scopes_disabled():
        ClientAccessFactory(person=firm.rental_manager, client=firm.hidden_client)
        ClientAccessFactory(person=firm.office, client=firm.client)
        SpaFactory(site=SiteFactory(client=firm.client))

    with scope(organisation=firm.organisation):
        rows = list(door(firm.rental_manager))

    assert len(rows) == len(set(rows))
    assert {getattr(firm, name), getattr(firm, f"hidden_{name}")} <= set(rows)


@pytest.mark.parametrize(("door", "model", "name"), DOORS)
@pytest.mark.parametrize("roles", [[], [Role.RENTAL_MANAGER]], ids=["no role", "manager of no client"])
def test_nobody_else_sees_anything(firm: Firm, roles: list[Role], door: Any, model: Any, name: str) -> None:
    with scopes_disabled():
        person = PersonFactory(organisation=firm.organisation, roles=roles)

    seen, hidden = _seen_and_hidden(door, model, person)

    assert seen == set()
    assert hidden == {getattr(firm, name), getattr(firm, f"hidden_{name}")}


@pytest.mark.parametrize(("door", "model", "name"), DOORS)
def test_an_access_row_shows_nothing_to_somebody_without_the_role(
    firm: Firm, door: Any, model: Any, name: str
) -> None:
    with scopes_disabled():
        person = PersonFactory(organisation=firm.organisation, roles=[])
        ClientAccessFactory(person=person, client=firm.client)

    assert _seen_and_hidden(door, model, person)[0] == set()


def test_a_technician_who_is_also_a_rental_manager_sees_the_firm(firm: Firm) -> None:
    with scopes_disabled():
        person = PersonFactory(organisation=firm.organisation, roles=[Role.TECHNICIAN, Role.RENTAL_MANAGER])

    assert _seen_and_hidden(visible_spas, Spa, person)[0] == {firm.spa, firm.hidden_spa}


def test_a_withdrawn_access_hides_the_client_again(firm: Firm) -> None:
    with scope(organisation=firm.organisation):
        ClientAccess.objects.filter(person=firm.rental_manager).delete()

        assert list(visible_clients(firm.rental_manager)) == []
        assert list(visible_spas(firm.rental_manager)) == []


@pytest.mark.parametrize(("door", "model", "name"), DOORS)
def test_without_an_organisation_in_scope_the_door_stays_shut(
    firm: Firm, door: Any, model: Any, name: str
) -> None:
    with pytest.raises(ScopeError):
        door(firm.owner).count()
