"""What an owner does about people: roles, closing an account, a lost second factor; and one's own details."""

from collections.abc import Collection

from allauth.mfa.models import Authenticator
from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import NotAllowed, require
from accounts.audit import record_event
from accounts.models import Organisation, Person, RoleGrant
from accounts.roles import Action, Role
from accounts.sessions import drop_sessions


@transaction.atomic
def change_roles(*, person: Person, roles: Collection[str], by: Person) -> None:
    """Give ``person`` exactly these roles and sign them out, so that no page of the old role stays open.

    Raises NotAllowed; ValidationError for ``roles`` when the firm would have no owner left.
    """
    _require_to_manage(person, by)
    wanted = frozenset(Role(role) for role in roles)
    had = frozenset(Role(role) for role in person.role_grants.values_list("role", flat=True))
    if wanted == had:
        return
    if Role.OWNER not in wanted:
        _keep_an_owner(person, field="roles")
    person.role_grants.filter(role__in=had - wanted).delete()
    RoleGrant.objects.bulk_create(RoleGrant(person=person, role=role) for role in sorted(wanted - had))
    drop_sessions(person)
    detail = {"added": sorted(wanted - had), "removed": sorted(had - wanted)}
    record_event(action="person.roles_changed", subject=person, by=by, detail=detail)


@transaction.atomic
def close_account(*, person: Person, by: Person) -> None:
    """Keep ``person`` from signing in, from now. What they signed stays theirs.

    Raises NotAllowed; ValidationError when it is the last owner, or oneself.
    """
    _require_to_manage(person, by)
    if person.pk == by.pk:
        raise ValidationError("You cannot close your own account. Ask another owner of the firm.")
    _keep_an_owner(person, field=None)
    person.is_active = False
    person.save(update_fields=["is_active"])
    drop_sessions(person)
    record_event(action="person.closed", subject=person, by=by)


@transaction.atomic
def reopen_account(*, person: Person, by: Person) -> None:
    """Let ``person`` sign in again, with the password and roles they had. Raises NotAllowed."""
    _require_to_manage(person, by)
    person.is_active = True
    person.save(update_fields=["is_active"])
    record_event(action="person.reopened", subject=person, by=by)


@transaction.atomic
def forget_second_factor(*, person: Person, by: Person) -> None:
    """Remove every second factor of somebody who lost theirs, and sign them out. Raises NotAllowed."""
    _require_to_manage(person, by)
    Authenticator.objects.filter(user=person).delete()
    drop_sessions(person)
    record_event(action="person.factors_forgotten", subject=person, by=by)


@transaction.atomic
def change_details(*, person: Person, name: str, phone: str) -> None:
    """Change one's own name and telephone. Raises ValidationError by field."""
    person.name, person.phone = name, phone
    person.full_clean(exclude=["password", "email"])
    person.save(update_fields=["name", "phone"])
    record_event(action="person.details_changed", subject=person, by=person)


@transaction.atomic
def ask_for_second_factors(*, everybody: bool, by: Person) -> None:
    """Say whether everybody of the firm must have a second factor to go on working. Raises NotAllowed."""
    require(by, Action.MANAGE_PEOPLE)
    organisation = Organisation.objects.get(pk=by.organisation_id)
    organisation.require_second_factor = everybody
    organisation.save(update_fields=["require_second_factor"])
    action = "firm.second_factor_required" if everybody else "firm.second_factor_optional"
    record_event(action=action, subject=organisation, by=by)


def _require_to_manage(person: Person, by: Person) -> None:
    require(by, Action.MANAGE_PEOPLE)
    if person.organisation_id != by.organisation_id:
        raise NotAllowed(Action.MANAGE_PEOPLE)


def _keep_an_owner(person: Person, *, field: str | None) -> None:
    """Raise unless another active owner is left. The firm's row is locked: two owners may leave at once."""
    Organisation.objects.select_for_update().get(pk=person.organisation_id)
    owners = Person.objects.filter(
        organisation=person.organisation_id, is_active=True, role_grants__role=Role.OWNER
    )
    was_owner = owners.filter(pk=person.pk).exists()
    if was_owner and not owners.exclude(pk=person.pk).exists():
        message = "The firm needs an owner. Make somebody else an owner first."
        raise ValidationError({field: message} if field else message)
