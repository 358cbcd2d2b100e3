"""Which clients a rental manager sees, chosen on one page."""

from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django_scopes import scope

from accounts.access import NotAllowed
from service.sites.manager_access import set_client_access
from service.sites.models import ClientAccess
from service.sites.visible import visible_clients
from tests.personas import Firm


def test_the_ticked_clients_are_seen_and_no_others(firm: Firm, sign_in: Any) -> None:
    url = f"/people/{firm.rental_manager.pk}/clients/"

    sign_in(firm.owner).post(url, {"clients": [str(firm.hidden_client.pk)]})

    with scope(organisation=firm.organisation):
        assert set(visible_clients(firm.rental_manager)) == {firm.hidden_client}


def test_nothing_ticked_shows_nothing(firm: Firm, sign_in: Any) -> None:
    sign_in(firm.owner).post(f"/people/{firm.rental_manager.pk}/clients/", {})

    with scope(organisation=firm.organisation):
        assert not ClientAccess.objects.filter(person=firm.rental_manager).exists()


def test_another_firms_client_is_refused_at_the_field(firm: Firm, stranger: Firm, sign_in: Any) -> None:
    url = f"/people/{firm.rental_manager.pk}/clients/"

    page = sign_in(firm.owner).post(url, {"clients": [str(stranger.client.pk)]}).content.decode()

    assert 'id="id_clients_error"' in page
    with scope(organisation=firm.organisation):
        assert set(visible_clients(firm.rental_manager)) == {firm.client}


def test_only_an_owner_chooses(in_firm: Firm) -> None:
    with pytest.raises(NotAllowed):
        set_client_access(person=in_firm.rental_manager, clients=[], by=in_firm.office)


def test_only_a_rental_manager_is_given_clients(in_firm: Firm) -> None:
    with pytest.raises(ValidationError, match="rental manager"):
        set_client_access(person=in_firm.office, clients=[in_firm.client], by=in_firm.owner)
