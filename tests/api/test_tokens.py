"""Access tokens: made by the owner, shown once, kept as a digest, refused as soon as they should be."""

import hashlib
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone
from django_scopes import scope, scopes_disabled

from accounts.access import NotAllowed
from accounts.audit_sentences import entries
from accounts.models import AccessToken, AuditEvent, Person, RoleGrant
from accounts.roles import Action, Role
from accounts.tokens import acting_through, find_token, make_token, withdraw_token
from service.sites.models import Client
from tests.api.asking import Program, problem_of, program, token_of
from tests.personas import Firm

URL = "/people/tokens/"


def test_the_secret_is_kept_as_its_digest_alone(firm: Firm) -> None:
    token, secret = token_of(firm, Role.OFFICE)

    with scopes_disabled():
        row = AccessToken.objects.values().get(pk=token.pk)
    assert row["secret_digest"] == hashlib.sha256(secret.encode()).hexdigest()
    assert secret not in str(row)
    assert secret.startswith(row["prefix"])
    assert len(row["prefix"]) < 14


def test_a_token_does_what_its_role_may_and_no_more(firm: Firm) -> None:
    _, secret = token_of(firm, Role.TECHNICIAN)
    token = find_token(secret)
    assert token is not None

    person = acting_through(token)

    assert person.pk == firm.owner.pk
    assert person.may(Action.CARRY_OUT_VISITS)
    for beyond in (Action.PLAN_VISITS, Action.MANAGE_PEOPLE, Action.MANAGE_TOKENS, Action.SEE_AUDIT_TRAIL):
        assert not person.may(beyond)


def test_a_token_does_no_more_than_its_person_may_by_now(firm: Firm) -> None:
    office = program(firm, Role.OFFICE)
    RoleGrant.objects.filter(person=firm.owner).update(role=Role.AUDITOR)

    assert office.get("clients/").status_code == 200
    problem_of(office.post("clients/", {"name": "New"}), 404)


@pytest.mark.parametrize("why", ["expired", "withdrawn", "maker closed", "manager closed"])
def test_a_token_stops_working_at_once(why: str, firm: Firm) -> None:
    asking = program(firm, Role.RENTAL_MANAGER)
    assert asking.get("spas/").status_code == 200
    moment = timezone.now() + timedelta(days=31 if why == "expired" else 0)
    if why == "withdrawn":
        with scope(organisation=firm.organisation):
            withdraw_token(token=asking.token, by=firm.owner)
    closed = {"maker closed": firm.owner, "manager closed": firm.rental_manager}.get(why)
    if closed:
        Person.objects.filter(pk=closed.pk).update(is_active=False)

    with time_machine.travel(moment):
        answer = asking.get("spas/")

    problem_of(answer, 401)
    assert answer["WWW-Authenticate"] == "Bearer"


@pytest.mark.parametrize(
    "header", ["", "Bearer", "Bearer ", "Basic dXNlcjpwYXNz", "Bearer \x00", "Bearer runnel_é"]
)
def test_a_header_that_is_no_token_answers_401(header: str, firm: Firm) -> None:
    answer = Program("").ask("GET", "spas/", headers={"Authorization": header})

    problem_of(answer, 401)


def test_the_trail_names_the_token_and_whom_it_acts_for(firm: Firm) -> None:
    office = program(firm, Role.OFFICE, name="Ledger export")

    assert office.post("clients/", {"name": "Harbour Lets"}).status_code == 201

    with scope(organisation=firm.organisation):
        event = AuditEvent.objects.filter(action="client.added").first()
        assert event is not None
        assert event.actor_id == firm.owner.pk
        line = entries([event], {str(firm.owner.pk): "Robin"})[0]
    assert line.who == "Robin, through the token “Ledger export”"
    assert (line.did, line.what) == ("added a client", "Harbour Lets")


def test_use_is_noted_and_at_most_every_five_minutes(firm: Firm) -> None:
    asking = program(firm, Role.OFFICE)
    start = timezone.now()

    def used() -> Any:
        with scopes_disabled():
            return AccessToken.objects.get(pk=asking.token.pk).last_used_at

    with time_machine.travel(start, tick=False) as clock:
        asking.get("spas/")
        assert used() == start
        clock.shift(timedelta(minutes=4))
        asking.get("spas/")
        assert used() == start
        clock.shift(timedelta(minutes=2))
        asking.get("spas/")
        assert used() == start + timedelta(minutes=6)


@pytest.mark.parametrize(
    ("field", "given"),
    [
        ("role", {"role": "owner"}),
        ("role", {"role": "king"}),
        ("manager", {"role": "rental_manager"}),
        ("manager", {"role": "office", "manager": "rental_manager"}),
        ("manager", {"role": "rental_manager", "manager": "technician"}),
        ("manager", {"role": "rental_manager", "manager": "stranger"}),
        ("days", {"days": 0}),
        ("days", {"days": 366}),
        ("name", {"name": " "}),
    ],
)
def test_a_token_that_would_be_too_much_is_refused(
    field: str, given: dict[str, Any], in_firm: Firm, stranger: Firm
) -> None:
    wanted = {"name": "Sync", "role": "office", "days": 30, **given}
    if who := wanted.get("manager"):
        wanted["manager"] = stranger.rental_manager if who == "stranger" else getattr(in_firm, who)

    with pytest.raises(ValidationError) as refused:
        make_token(**wanted, by=in_firm.owner)

    assert list(refused.value.message_dict) == [field]
    assert AccessToken.objects.count() == 0


@pytest.mark.parametrize("role", [role for role in Role if role != Role.OWNER])
def test_only_the_owner_makes_and_withdraws_tokens(role: Role, in_firm: Firm) -> None:
    token, _ = token_of(in_firm, Role.OFFICE)
    person = in_firm.people[role]

    with pytest.raises(NotAllowed):
        make_token(name="Sync", role="auditor", days=1, by=person)
    with pytest.raises(NotAllowed):
        withdraw_token(token=token, by=person)


def test_the_owner_makes_one_on_the_page_and_sees_its_secret_once(firm: Firm, confirmed: Any) -> None:
    browser = confirmed(firm.owner)

    shown = browser.post(f"{URL}new/", {"name": "Sync", "role": "office", "manager": "", "days": "90"})

    secret = shown.context["secret"]
    assert secret in shown.content.decode()
    assert "no-store" in shown["Cache-Control"]
    assert Program(secret).get("spas/").status_code == 200
    assert secret not in browser.get(URL).content.decode()

    with scopes_disabled():
        token = AccessToken.objects.get()
    browser.post(f"{URL}{token.pk}/withdraw/")
    problem_of(Program(secret).get("spas/"), 401)
    assert "withdrawn" in browser.get(URL).content.decode()


def test_the_page_tells_what_is_wrong_at_the_field(firm: Firm, confirmed: Any) -> None:
    answer = confirmed(firm.owner).post(
        f"{URL}new/", {"name": "Sync", "role": "rental_manager", "days": "400"}
    )

    assert answer.status_code == 200
    assert list(answer.context["form"].errors) == ["days"]
    assert "Sync" in answer.content.decode()


def test_making_and_withdrawing_asks_who_one_is_first(firm: Firm, sign_in: Any) -> None:
    token, _ = token_of(firm, Role.OFFICE)
    browser = sign_in(firm.owner)

    for url in (f"{URL}new/", f"{URL}{token.pk}/withdraw/"):
        answer = browser.post(url, {"name": "Sync", "role": "office", "days": "9"})
        assert answer.status_code == 302
        assert reverse("account_reauthenticate") in answer["Location"]


def test_a_rental_managers_token_sees_the_clients_named_for_that_manager(
    firm: Firm, manager: Program
) -> None:
    items = manager.get("clients/").json()["items"]

    assert [item["id"] for item in items] == [str(firm.client.pk)]
    assert items[0]["notes"] is None
    with scope(organisation=firm.organisation):
        assert Client.objects.count() == 2
