"""A rental manager's clients from the manager's side: all at once, and before the invitation is accepted."""

from collections.abc import Collection
from uuid import UUID

from django.db import transaction

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Invitation, Person
from accounts.roles import Action, Role
from service.sites.client_access import grant_client_access, withdraw_client_access
from service.sites.models import Client, ClientAccess


@transaction.atomic
def set_client_access(*, person: Person, clients: Collection[Client], by: Person) -> None:
    """Let the rental manager see exactly these clients.

    Raises NotAllowed; ValidationError when ``person`` is no rental manager of this firm.
    """
    require(by, Action.MANAGE_PEOPLE)
    wanted = {client.pk for client in clients}
    for access in ClientAccess.objects.filter(person=person).select_related("client"):
        if access.client_id not in wanted:
            withdraw_client_access(access=access, by=by)
    seen = set(ClientAccess.objects.filter(person=person).values_list("client_id", flat=True))
    for client in clients:
        if client.pk not in seen:
            grant_client_access(client=client, person=person, by=by)


@transaction.atomic
def choose_invited_clients(*, invitation: Invitation, clients: Collection[Client], by: Person) -> None:
    """Note which clients the invited manager sees once the invitation is accepted. Raises NotAllowed."""
    require(by, Action.MANAGE_PEOPLE)
    invitation.client_ids = sorted(str(client.pk) for client in clients)
    invitation.save(update_fields=["client_ids"])
    detail = {"clients": len(invitation.client_ids)}
    record_event(action="invitation.clients_chosen", subject=invitation, by=by, detail=detail)


def open_invited_clients(invitation: Invitation, person: Person) -> None:
    """Give a new rental manager the clients that were chosen; part of accepting the invitation.

    A client that is gone, or a role that was not given, opens nothing.
    """
    if Role.RENTAL_MANAGER not in invitation.roles:
        return
    keys = [UUID(key) for key in invitation.client_ids]
    for client in Client.objects.filter(pk__in=keys):
        ClientAccess.objects.create(organisation=client.organisation, client=client, person=person)
        detail = {"person": str(person.pk)}
        record_event(action="client.access_granted", subject=client, by=invitation.invited_by, detail=detail)
