"""Which rental managers see a client."""

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action, Role
from service.sites.models import Client, ClientAccess


@transaction.atomic
def grant_client_access(*, client: Client, person: Person, by: Person) -> ClientAccess:
    """Let a rental manager see ``client`` with its sites, spas and records. Granting twice is once.

    Raises NotAllowed; ValidationError when ``person`` is no rental manager of this firm.
    """
    require(by, Action.MANAGE_PEOPLE)
    if person.organisation_id != client.organisation_id or Role.RENTAL_MANAGER not in person.roles:
        raise ValidationError({"person": "Choose a rental manager of your firm."})
    access, new = ClientAccess.objects.get_or_create(
        organisation=client.organisation, client=client, person=person
    )
    if new:
        _record("client.access_granted", access, by)
    return access


@transaction.atomic
def withdraw_client_access(*, access: ClientAccess, by: Person) -> None:
    """Hide the client from the rental manager again. Raises NotAllowed."""
    require(by, Action.MANAGE_PEOPLE)
    _record("client.access_withdrawn", access, by)
    access.delete()


def _record(action: str, access: ClientAccess, by: Person) -> None:
    record_event(action=action, subject=access.client, by=by, detail={"person": str(access.person_id)})
