"""Two people, or two taps, at the very same time. Needs a server that really runs them side by side."""

from typing import Any

import pytest
from django.utils import timezone
from django_scopes import scope

from service.visits.editing import AlreadySigned, Changed
from service.visits.inspection import answer_inspection
from service.visits.models import Record, Visit, VisitState
from service.visits.open import start_visit
from service.visits.plan import plan_visit
from service.visits.sign import sign_visit
from tests.factories import PIN
from tests.personas import Firm
from tests.two_at_once import AT_ONCE, side_by_side
from tests.visits.working import fresh, ready

pytestmark = AT_ONCE


@pytest.mark.parametrize("attempt", range(3))
def test_of_two_signatures_exactly_one_wins(firm: Firm, attempt: int) -> None:
    with scope(organisation=firm.organisation):
        visit = ready(firm)

    def sign_as(person: Any) -> Any:
        return lambda: sign_visit(visit=visit, pin=PIN, by=person, expected_revision=visit.revision)

    outcomes = side_by_side(firm, sign_as(firm.technician), sign_as(firm.owner))

    assert sorted(type(outcome).__name__ for outcome in outcomes) == ["AlreadySigned", "Record"]
    with scope(organisation=firm.organisation):
        assert Record.objects.count() == 1
        assert fresh(visit).state == VisitState.SIGNED
    assert any(isinstance(outcome, AlreadySigned) for outcome in outcomes)


def test_of_two_changes_from_one_revision_one_is_told_of_the_other(firm: Firm) -> None:
    with scope(organisation=firm.organisation):
        visit = ready(firm)

    def answer_as(person: Any, answer: str) -> Any:
        return lambda: answer_inspection(
            visit=visit, answers={"cover": (answer, "Torn")}, by=person, expected_revision=visit.revision
        )

    outcomes = side_by_side(firm, answer_as(firm.technician, "no"), answer_as(firm.owner, "yes"))

    told = [outcome for outcome in outcomes if isinstance(outcome, Changed)]
    assert len(told) == 1
    assert [change.what for change in told[0].changes] == ["changed the inspection"]


def test_two_people_do_not_start_two_visits_to_one_spa(firm: Firm) -> None:
    with scope(organisation=firm.organisation):
        first, second = (
            plan_visit(spa=firm.spa, planned_on=timezone.localdate(), technician=None, by=firm.office)
            for _ in range(2)
        )

    outcomes = side_by_side(
        firm,
        lambda: start_visit(visit=first, by=firm.technician),
        lambda: start_visit(visit=second, by=firm.owner),
    )

    with scope(organisation=firm.organisation):
        assert Visit.objects.filter(state=VisitState.ON_SITE).count() == 1
    assert sum(isinstance(outcome, Exception) for outcome in outcomes) == 1
