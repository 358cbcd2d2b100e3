"""Closing by hand, and how a closure ends: by a reading that meets the guideline, and by nothing else."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.visits.closures import close_spa, open_closure
from service.visits.editing import Refused
from service.visits.fitness import fitness_of
from service.visits.inspection import answer_inspection
from service.visits.models import Closure, Moment
from service.visits.verdict import standing_verdict
from tests.personas import Firm
from tests.visits.working import GOOD, MORNING, decided, fresh, inspect, read, ready, sign, started


def test_a_sentence_the_closure_already_says_is_not_said_again(in_firm: Firm, clock: Any) -> None:
    close_spa(spa=in_firm.spa, reason="Cable bare. pH was not measured.", by=in_firm.office)
    close_spa(spa=in_firm.spa, reason="Cover gone. pH was not measured. Water cloudy.", by=in_firm.office)

    assert Closure.objects.get().reason == "Cable bare. pH was not measured. Cover gone. Water cloudy."


def test_a_closed_spa_has_one_closure_that_gathers_its_reasons(in_firm: Firm, clock: Any) -> None:
    close_spa(spa=in_firm.spa, reason="Cable bare.", by=in_firm.office)
    clock.shift(timedelta(hours=1))
    close_spa(spa=in_firm.spa, reason="Cover gone", by=in_firm.technician)
    close_spa(spa=in_firm.spa, reason="Cover gone", by=in_firm.technician)

    closure = Closure.objects.get()
    assert closure.reason == "Cable bare. Cover gone"
    assert (closure.closed_at, closure.renewed_at) == (MORNING, MORNING + timedelta(hours=1))
    actions = AuditEvent.objects.filter(subject_id=str(closure.pk)).values_list("action", flat=True)
    assert list(actions) == ["closure.renewed", "closure.renewed", "closure.opened"]


def test_closing_needs_a_reason_of_a_readable_length(in_firm: Firm) -> None:
    with pytest.raises(ValidationError, match="Say why"):
        close_spa(spa=in_firm.spa, reason=" ", by=in_firm.office)
    with pytest.raises(ValidationError, match="At most 600 characters; this has 601"):
        close_spa(spa=in_firm.spa, reason="x" * 601, by=in_firm.office)


def test_who_may_not_close_closes_nothing(in_firm: Firm, stranger: Firm) -> None:
    for person in (in_firm.rental_manager, in_firm.auditor, stranger.office):
        with pytest.raises(NotAllowed):
            close_spa(spa=in_firm.spa, reason="Cable bare", by=person)
    assert open_closure(in_firm.spa) is None


def test_a_later_good_reading_reopens_it_when_signed(in_firm: Firm, clock: Any) -> None:
    close_spa(spa=in_firm.spa, reason="Smells odd", by=in_firm.office)
    clock.shift(timedelta(minutes=30))

    visit = ready(in_firm)
    assert open_closure(in_firm.spa) is not None
    sign(in_firm, visit)

    closure = Closure.objects.get()
    assert (closure.reopened_visit, closure.reopened_by) == (visit, in_firm.technician)
    assert fitness_of(in_firm.spa, timezone.now()).state == "fit"
    assert AuditEvent.objects.filter(action="closure.reopened").exists()


def test_a_reading_from_before_the_closing_does_not_reopen_it(in_firm: Firm, clock: Any) -> None:
    visit = ready(in_firm)
    clock.shift(timedelta(minutes=10))
    close_spa(spa=in_firm.spa, reason="Smells odd", by=in_firm.office)

    assert standing_verdict(fresh(visit), timezone.now()).needs == [
        "The spa was closed at 10:10. Only a test made after that can reopen it: test again."
    ]
    with pytest.raises(Refused, match="Only a test made after that can reopen it"):
        sign(in_firm, visit)
    assert open_closure(in_firm.spa) is not None


def test_a_closure_for_what_was_seen_needs_somebody_to_look_again(in_firm: Firm, clock: Any) -> None:
    visit = decided(in_firm, read(in_firm, inspect(in_firm, started(in_firm), electrics="Wet cabinet"), GOOD))
    sign(in_firm, visit, retest_by="Us", retest_due=MORNING + timedelta(hours=5))
    clock.shift(timedelta(hours=1))

    visit = ready(in_firm)
    answer_inspection(
        visit=visit, answers={"electrics": ("not_looked", "")}, by=in_firm.technician, expected_revision=None
    )
    clock.shift(timedelta(minutes=1))
    visit = decided(in_firm, visit)
    needs = standing_verdict(fresh(visit), timezone.now()).needs
    assert needs == [
        "The closure rests on the inspection. Look: Are breaker, cable and cabinet dry and in order?"
    ]

    clock.shift(timedelta(minutes=1))
    answer_inspection(
        visit=visit, answers={"electrics": ("yes", "")}, by=in_firm.technician, expected_revision=None
    )
    sign(in_firm, decided(in_firm, visit))
    assert open_closure(in_firm.spa) is None


def test_a_bad_retest_keeps_the_same_closure(in_firm: Firm, clock: Any) -> None:
    bad = {**GOOD, "free_chlorine_mg_l": "0.4"}
    later = MORNING + timedelta(hours=5)
    sign(in_firm, ready(in_firm, values=bad), retest_by="Us", retest_due=later)
    clock.shift(timedelta(hours=1))
    sign(in_firm, ready(in_firm, values=bad), retest_by="Us", retest_due=later)

    closure = Closure.objects.get()
    assert closure.renewed_at == MORNING + timedelta(hours=1)
    assert fitness_of(in_firm.spa, timezone.now()).state == "retest"


def test_the_database_ends_no_closure_without_a_visit(in_firm: Firm) -> None:
    closure = close_spa(spa=in_firm.spa, reason="Cable bare", by=in_firm.office)

    with pytest.raises(IntegrityError), transaction.atomic():
        Closure.objects.filter(pk=closure.pk).update(reopened_at=timezone.now(), reopened_by=in_firm.office)


def test_readings_taken_after_dosing_reopen_too(in_firm: Firm, clock: Any) -> None:
    close_spa(spa=in_firm.spa, reason="Smells odd", by=in_firm.office)
    clock.shift(timedelta(minutes=30))
    visit = read(in_firm, inspect(in_firm, started(in_firm)), GOOD, Moment.AFTER)

    sign(in_firm, decided(in_firm, visit, Moment.AFTER))

    assert open_closure(in_firm.spa) is None
