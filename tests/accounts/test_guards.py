"""The database keeps the firms apart and the sealed tables sealed, whatever writes to it."""

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django_scopes import ScopeError, scopes_disabled

from accounts.audit import record_event
from accounts.guards import expected_guards, installed_guards
from accounts.models import AuditEvent
from service.sites.models import Client, Site
from tests.personas import Firm


def test_every_guard_is_in_force_after_the_migrations(db: None) -> None:
    assert [name for name, _ in installed_guards()] == expected_guards()


def test_a_query_without_an_organisation_raises(firm: Firm) -> None:
    with pytest.raises(ScopeError):
        Client.objects.count()


def test_a_row_of_another_firm_is_refused_by_the_model(firm: Firm, stranger: Firm) -> None:
    with scopes_disabled(), pytest.raises(ValidationError, match="does not exist"):
        Site.objects.create(organisation=firm.organisation, client=stranger.client, name="Ours")


def test_a_key_of_another_firm_is_refused_by_the_database(firm: Firm, stranger: Firm) -> None:
    with scopes_disabled(), pytest.raises(IntegrityError, match="another organisation"), transaction.atomic():
        Site.objects.create(organisation=firm.organisation, client_id=stranger.client.pk, name="Ours")


def test_a_row_cannot_move_to_another_firm(firm: Firm, stranger: Firm) -> None:
    with scopes_disabled(), pytest.raises(IntegrityError, match="cannot move"), transaction.atomic():
        Client.objects.filter(pk=firm.client.pk).update(organisation=stranger.organisation)


@pytest.mark.parametrize(
    "statement", ["UPDATE accounts_auditevent SET action = 'x'", "DELETE FROM accounts_auditevent"]
)
def test_the_audit_trail_refuses_raw_sql(in_firm: Firm, statement: str) -> None:
    record_event(action="client.added", subject=in_firm.client, by=in_firm.office)

    with (
        pytest.raises(IntegrityError, match="only grows"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)

    assert AuditEvent.objects.get().action == "client.added"
