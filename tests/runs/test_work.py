"""A run is taken once, says how far it is, and ends once, whatever happens to its worker."""

from collections.abc import Callable
from contextlib import suppress
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone
from django_scopes import get_scope, scope, scopes_disabled

from accounts.models import AuditEvent
from service.celery import app
from service.runs.ask import ask_run, cancel_run
from service.runs.models import Run, RunState
from service.runs.sweep import ATTEMPTS_MAX, sweep
from service.runs.visible import visible_runs
from service.runs.work import OUR_FAULT, RunFailed, Stopped, claim, do_run, finishing, step
from tests.personas import Firm

TASK = "service.runs.sweep"


@pytest.fixture
def ask(in_firm: Firm, django_capture_on_commit_callbacks: Any) -> Callable[..., Run]:
    def asked(**fields: Any) -> Run:
        with django_capture_on_commit_callbacks(execute=True):
            return ask_run(
                **{
                    "task": TASK,
                    "arguments": {"visit": "1"},
                    "title": "A record",
                    "by": in_firm.technician,
                    "organisation": in_firm.organisation,
                    **fields,
                }
            )

    return asked


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, dict[str, Any]]]:
    """What left for the queue: the network's edge."""
    messages: list[tuple[str, dict[str, Any]]] = []
    monkeypatch.setattr(app, "send_task", lambda name, kwargs=None, **_: messages.append((name, kwargs)))
    return messages


@pytest.fixture
def queue_down(monkeypatch: pytest.MonkeyPatch) -> None:
    """A Redis address at which nobody listens."""
    monkeypatch.setitem(app.conf, "broker_url", "redis://127.0.0.1:1/0")
    monkeypatch.setitem(app.conf, "broker_write_url", "redis://127.0.0.1:1/0")
    monkeypatch.setattr(app, "_pool", None)
    monkeypatch.setattr(app.amqp, "_producer_pool", None)


def fresh(run: Run) -> Run:
    with scopes_disabled():
        return Run.objects.get(pk=run.pk)


def age(run: Run, **fields: Any) -> None:
    with scopes_disabled():
        Run.objects.filter(pk=run.pk).update(**fields)


def test_asking_sends_the_runs_key_and_nothing_else(ask: Callable[..., Run], sent: list[Any]) -> None:
    run = ask()

    assert sent == [(TASK, {"run_id": str(run.pk)})]
    assert fresh(run).state == RunState.QUEUED
    assert AuditEvent.objects.get().action == "run.asked"


def test_nothing_is_asked_or_sent_when_the_change_is_not_kept(
    ask: Callable[..., Run], in_firm: Firm, sent: list[Any], django_capture_on_commit_callbacks: Any
) -> None:
    with (
        django_capture_on_commit_callbacks(execute=True),
        suppress(IntegrityError),
        transaction.atomic(),
    ):
        ask_run(task=TASK, arguments={}, title="A record", by=None, organisation=in_firm.organisation)
        raise IntegrityError

    assert not Run.objects.exists()
    assert sent == []


def test_the_work_is_done_in_the_firms_scope_and_ends_once(ask: Callable[..., Run], sent: list[Any]) -> None:
    run = ask()
    seen: list[Any] = []

    with scope(organisation=None):
        do_run(run.pk, lambda mine: seen.append((get_scope()["organisation"], mine.arguments)))
        do_run(run.pk, lambda mine: seen.append("twice"))

    assert seen == [(run.organisation, {"visit": "1"})]
    assert fresh(run).state == RunState.DONE
    assert fresh(run).finished_at is not None


def test_a_second_worker_does_not_get_a_run_that_is_taken(ask: Callable[..., Run], sent: list[Any]) -> None:
    run = ask()

    assert claim(run.pk) is not None
    assert claim(run.pk) is None


def test_progress_is_kept_and_counts_as_a_sign_of_life(ask: Callable[..., Run], sent: list[Any]) -> None:
    run = ask()
    mine = claim(run.pk)
    assert mine is not None
    age(run, seen_at=timezone.now() - timedelta(hours=1))

    step(mine, done=1, total=3, doing="Drawing page 2")

    now = fresh(run)
    assert (now.progress_done, now.progress_total, now.doing) == (1, 3, "Drawing page 2")
    assert timezone.now() - now.seen_at < timedelta(minutes=1)


def test_a_failure_that_cannot_be_mended_says_why(ask: Callable[..., Run], sent: list[Any]) -> None:
    run = ask()

    def job(_: Run) -> None:
        raise RunFailed("The visit has not been signed.")

    do_run(run.pk, job)

    assert (fresh(run).state, fresh(run).error) == (RunState.FAILED, "The visit has not been signed.")


def test_an_unforeseen_error_is_not_shown_to_people(ask: Callable[..., Run], sent: list[Any]) -> None:
    run = ask()

    def job(_: Run) -> None:
        raise ZeroDivisionError("secret detail")

    do_run(run.pk, job)

    assert (fresh(run).state, fresh(run).error) == (RunState.FAILED, OUR_FAULT)


def test_a_waiting_run_is_stopped_at_once(ask: Callable[..., Run], in_firm: Firm, sent: list[Any]) -> None:
    run = ask()

    assert cancel_run(run=run, by=in_firm.technician)

    assert fresh(run).state == RunState.CANCELLED
    assert claim(run.pk) is None
    assert not cancel_run(run=run, by=in_firm.technician)


def test_a_running_run_stops_at_its_next_step(
    ask: Callable[..., Run], in_firm: Firm, sent: list[Any]
) -> None:
    run = ask()
    done: list[str] = []

    def job(mine: Run) -> None:
        step(mine, done=0, total=2, doing="First")
        done.append("first")
        cancel_run(run=run, by=in_firm.technician)
        step(mine, done=1, total=2, doing="Second")
        done.append("second")

    do_run(run.pk, job)

    assert done == ["first"]
    assert fresh(run).state == RunState.CANCELLED


def test_last_writes_of_a_run_taken_away_are_not_kept(
    ask: Callable[..., Run], in_firm: Firm, sent: list[Any]
) -> None:
    run = ask()
    slow = claim(run.pk)
    assert slow is not None
    age(run, state=RunState.QUEUED)
    assert claim(run.pk) is not None

    in_firm.client.name = "Changed by the slow worker"
    with pytest.raises(Stopped), finishing(slow):
        in_firm.client.save()

    in_firm.client.refresh_from_db()
    assert in_firm.client.name != "Changed by the slow worker"
    assert fresh(run).state == RunState.RUNNING


def test_a_run_stays_running_when_its_last_write_fails(
    ask: Callable[..., Run], in_firm: Firm, sent: list[Any]
) -> None:
    run = ask()
    mine = claim(run.pk)
    assert mine is not None

    with pytest.raises(IntegrityError), finishing(mine):
        raise IntegrityError

    assert fresh(run).state == RunState.RUNNING


def test_the_run_of_a_silent_worker_is_queued_again(ask: Callable[..., Run], sent: list[Any]) -> None:
    run = ask()
    claim(run.pk)
    assert sweep() == 0
    age(run, seen_at=timezone.now() - timedelta(hours=1))

    assert sweep() == 1

    assert fresh(run).state == RunState.QUEUED
    assert sent[1:] == [(TASK, {"run_id": str(run.pk)})]
    assert sweep() == 0


def test_a_lost_message_is_sent_again_with_growing_waits(ask: Callable[..., Run], sent: list[Any]) -> None:
    run = ask()
    start = fresh(run).seen_at

    moments = [minutes for minutes in range(1, 40) if sweep(start + timedelta(minutes=minutes, seconds=1))]

    assert moments == [1, 3, 7, 15, 31]


def test_a_run_that_kills_every_worker_is_given_up(ask: Callable[..., Run], sent: list[Any]) -> None:
    run = ask()
    for _ in range(ATTEMPTS_MAX):
        assert claim(run.pk) is not None
        age(run, seen_at=timezone.now() - timedelta(hours=1))
        sweep()

    assert fresh(run).state == RunState.FAILED
    assert "worker stopped" in fresh(run).error


def test_a_stopped_run_of_a_silent_worker_is_not_started_again(
    ask: Callable[..., Run], in_firm: Firm, sent: list[Any]
) -> None:
    run = ask()
    claim(run.pk)
    cancel_run(run=run, by=in_firm.technician)
    age(run, seen_at=timezone.now() - timedelta(hours=1))

    assert sweep() == 0
    assert fresh(run).state == RunState.CANCELLED


def test_a_queue_that_is_down_loses_no_run(
    ask: Callable[..., Run], queue_down: None, caplog: pytest.LogCaptureFixture
) -> None:
    later = timezone.now() + timedelta(hours=1)
    with caplog.at_level("WARNING"):
        run = ask()
        assert sweep(later) == 0

    assert caplog.text.count("the queue cannot be reached") == 2
    assert fresh(run).state == RunState.QUEUED
    assert fresh(run).send_again_at <= later


def test_people_see_their_own_runs_and_the_office_all_of_the_firms(
    ask: Callable[..., Run], in_firm: Firm, stranger: Firm, sent: list[Any]
) -> None:
    mine = ask(by=in_firm.technician)
    managers = ask(by=in_firm.rental_manager)
    products = ask(by=None)
    with scopes_disabled():
        foreign = ask(by=stranger.office, organisation=stranger.organisation)
        everything = {mine, managers, products, foreign}

        for person, visible in [
            (in_firm.owner, {mine, managers, products}),
            (in_firm.office, {mine, managers, products}),
            (in_firm.technician, {mine}),
            (in_firm.rental_manager, {managers}),
            (in_firm.auditor, set()),
            (stranger.office, {foreign}),
        ]:
            seen = set(visible_runs(person))
            assert (seen, everything - seen) == (visible, everything - visible)
