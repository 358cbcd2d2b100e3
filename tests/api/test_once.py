"""A write is done once for its key (IETF draft "The Idempotency-Key HTTP Header Field", section 2.7)."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.utils import timezone
from django_scopes import scope, scopes_disabled

from accounts.models import AuditEvent
from accounts.roles import Role
from service.api.models import KeptAnswer
from service.api.once import sweep_kept_answers
from service.api.tasks import sweep
from service.sites.models import Client
from tests.api.asking import Program, fields_of, problem_of, program
from tests.personas import Firm, make_firm
from tests.two_at_once import side_by_side

NEW = {"name": "Harbour Lets"}


def clients_named(firm: Firm, name: str) -> int:
    with scope(organisation=firm.organisation):
        return Client.objects.filter(name=name).count()


def test_the_same_key_gives_the_first_answer_again_and_does_nothing(firm: Firm, office: Program) -> None:
    first = office.post("clients/", NEW, key="k1")
    again = office.post("clients/", NEW, key="k1")

    assert (again.status_code, again.content) == (first.status_code, first.content)
    assert again["Location"] == first["Location"]
    assert again["Idempotency-Replayed"] == "true"
    assert "Idempotency-Replayed" not in first
    assert clients_named(firm, "Harbour Lets") == 1
    with scopes_disabled():
        assert AuditEvent.objects.filter(action="client.added").count() == 1


def test_a_refusal_is_given_again_too(office: Program) -> None:
    first = office.post("clients/", {"kind": "castle"}, key="k1")
    again = office.post("clients/", {"kind": "castle"}, key="k1")

    assert fields_of(first) == ["name", "kind"]
    assert again.content == first.content
    assert (again.status_code, again["Content-Type"]) == (400, "application/problem+json")
    assert again["Idempotency-Replayed"] == "true"


def test_the_same_key_with_another_body_is_refused(firm: Firm, office: Program) -> None:
    office.post("clients/", NEW, key="k1")

    problem_of(office.post("clients/", {"name": "Other"}, key="k1"), 422)
    problem_of(office.post("sites/", NEW, key="k1"), 422)
    assert clients_named(firm, "Other") == 0


def test_keys_belong_to_a_token(firm: Firm, office: Program) -> None:
    other = program(firm, Role.OFFICE)
    office.post("clients/", NEW, key="k1")

    assert other.post("clients/", NEW, key="k1").status_code == 201
    assert clients_named(firm, "Harbour Lets") == 2


@pytest.mark.parametrize("key", ["", "two words", "k" * 101, "clé"])
def test_a_post_needs_a_good_key(key: str, firm: Firm, office: Program) -> None:
    answer = office.post("clients/", NEW, key="-", headers={"Idempotency-Key": key} if key else {})

    assert fields_of(answer) == ["Idempotency-Key"]
    assert clients_named(firm, "Harbour Lets") == 0


def test_a_patch_may_have_a_key(firm: Firm, office: Program) -> None:
    path = f"clients/{firm.client.pk}/"

    assert office.patch(path, {"name": "First"}).status_code == 200
    office.patch(path, {"name": "Second"}, key="k1")
    office.patch(path, {"name": "Third"})
    assert office.patch(path, {"name": "Second"}, key="k1")["Idempotency-Replayed"] == "true"
    assert office.get(path).json()["name"] == "Third"


def _kept(office: Program, key: str = "k1") -> KeptAnswer:
    with scopes_disabled():
        return KeptAnswer.objects.get(token=office.token, key=key)


def _unanswer(office: Program, asked_at: Any) -> None:
    """As a write looks whose process was killed before its end."""
    with scopes_disabled():
        KeptAnswer.objects.filter(token=office.token).update(status=None, body="", asked_at=asked_at)
    with scope(organisation=office.token.organisation):
        Client.objects.filter(name=NEW["name"]).delete()


def test_a_write_still_at_work_answers_409(firm: Firm, office: Program) -> None:
    office.post("clients/", NEW, key="k1")
    _unanswer(office, timezone.now())

    problem_of(office.post("clients/", NEW, key="k1"), 409)
    assert clients_named(firm, "Harbour Lets") == 0


def test_a_write_whose_process_was_killed_can_be_sent_again(firm: Firm, office: Program) -> None:
    office.post("clients/", NEW, key="k1")
    _unanswer(office, timezone.now() - timedelta(minutes=3))

    answer = office.post("clients/", NEW, key="k1")

    assert answer.status_code == 201
    assert "Idempotency-Replayed" not in answer
    assert clients_named(firm, "Harbour Lets") == 1
    assert _kept(office).attempt == 2


def test_a_failure_here_gives_the_key_back(
    firm: Firm, office: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(**_: Any) -> None:
        raise RuntimeError("disk full")

    with monkeypatch.context() as broken:
        broken.setattr("service.api.clients.add_client", fails)
        told = problem_of(office.post("clients/", NEW, key="k1"), 500)

    assert "disk full" not in str(told)
    assert office.post("clients/", NEW, key="k1").status_code == 201


def test_an_answer_that_cannot_be_kept_undoes_the_write(
    firm: Firm, office: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: Any) -> None:
        raise RuntimeError("disk full")

    with monkeypatch.context() as broken:
        broken.setattr("service.api.once.Claim.keep", fails)
        problem_of(office.post("clients/", NEW, key="k1"), 500)

    assert clients_named(firm, "Harbour Lets") == 0


def test_answers_are_kept_for_a_day(firm: Firm, office: Program) -> None:
    start = timezone.now()
    with time_machine.travel(start, tick=False) as clock:
        office.post("clients/", NEW, key="k1")
        clock.shift(timedelta(hours=23, minutes=59))
        assert office.post("clients/", NEW, key="k1")["Idempotency-Replayed"] == "true"
        assert sweep_kept_answers(timezone.now()) == 0
        clock.shift(timedelta(minutes=2))
        sweep()
        with scopes_disabled():
            assert KeptAnswer.objects.count() == 0
        assert office.post("clients/", NEW, key="k1").status_code == 201
    assert clients_named(firm, "Harbour Lets") == 2


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("attempt", range(3))
def test_of_the_same_write_sent_twice_at_once_one_is_done(transactional_db: Any, attempt: int) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("runs when DATABASE_URL names a PostgreSQL server; SQLite has one writer at a time")
    firm = make_firm("Alderbrook Spa Care")
    one = program(firm, Role.OFFICE)
    assert one.token is not None
    two = Program(one.secret)

    answers = side_by_side(
        firm,
        lambda: one.post("clients/", NEW, key="k1"),
        lambda: two.post("clients/", NEW, key="k1"),
    )

    # The second one came while the first was at work, or after it.
    statuses = sorted(answer.status_code for answer in answers)
    assert statuses in ([201, 201], [201, 409])
    assert sum("Idempotency-Replayed" not in answer for answer in answers if answer.status_code == 201) == 1
    assert clients_named(firm, "Harbour Lets") == 1
