"""Many visits are planned, changed and cancelled by the rules of one, in few statements."""

from datetime import time, timedelta
from functools import partial
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.visits.editing import Changed, Refused
from service.visits.models import Visit, VisitState
from service.visits.plan import change_plan
from service.visits.plan_many import NewVisit, cancel_visits, change_plans, plan_visits
from tests.factories import PersonFactory, SpaFactory
from tests.personas import Firm
from tests.visits.working import fresh, planned, started


def wanted(firm: Firm, count: int = 3, **plan: Any) -> list[NewVisit]:
    plain = {"planned_on": timezone.localdate(), "technician": firm.technician, **plan}
    return [NewVisit(spa=SpaFactory(site=firm.site), sequence=n, **plain) for n in range(count)]


def statements(work: Any) -> int:
    with CaptureQueriesContext(connection) as asked:
        work()
    return len(asked)


def test_many_visits_are_planned_as_one_is_and_each_is_in_the_trail(in_firm: Firm) -> None:
    one = planned(in_firm, sequence=2, changeover=True, window_from=time(9))
    same = NewVisit(in_firm.spa, one.planned_on, in_firm.technician, time(9), changeover=True, sequence=2)

    (made,) = plan_visits(wanted=[same], by=in_firm.office)

    own = {"id", "created_at"}
    stored = {row["id"]: row for row in Visit.objects.values()}
    assert {k: v for k, v in stored[made.pk].items() if k not in own} == {
        k: v for k, v in stored[one.pk].items() if k not in own
    }
    trail = AuditEvent.objects.filter(action="visit.planned")
    kept = [(event.actor_id, event.subject_type, event.detail) for event in trail]
    assert kept[0] == kept[1]
    assert {event.subject_id for event in trail} == {str(one.pk), str(made.pk)}


def test_one_visit_that_is_refused_refuses_all(in_firm: Firm, stranger: Firm) -> None:
    for bad in (
        {"planned_on": timezone.localdate() - timedelta(8)},
        {"technician": in_firm.auditor},
        {"technician": stranger.technician},
        {"window_from": time(12), "window_to": time(9)},
    ):
        with pytest.raises(ValidationError):
            plan_visits(wanted=[*wanted(in_firm), *wanted(in_firm, 1, **bad)], by=in_firm.office)
    foreign = NewVisit(stranger.spa, timezone.localdate(), in_firm.technician)
    with pytest.raises(NotAllowed):
        plan_visits(wanted=[*wanted(in_firm), foreign], by=in_firm.office)
    with pytest.raises(NotAllowed):
        plan_visits(wanted=wanted(in_firm), by=in_firm.technician)
    in_firm.site.archived_at = timezone.now()
    with pytest.raises(Refused, match="archived"):
        plan_visits(wanted=wanted(in_firm), by=in_firm.office)

    assert not Visit.objects.exists()
    assert not AuditEvent.objects.filter(action="visit.planned").exists()


def test_many_changes_keep_what_is_not_named_and_raise_each_revision(in_firm: Firm) -> None:
    visits = plan_visits(wanted=wanted(in_firm), by=in_firm.office)
    ada = PersonFactory(organisation=in_firm.organisation, name="Ada Quill", roles=["technician"])
    tomorrow = timezone.localdate() + timedelta(1)

    change_plans(
        changes=[(visits[0], {"technician": ada}), (visits[1], {"planned_on": tomorrow})], by=in_firm.office
    )

    rows = [fresh(visit) for visit in visits]
    assert [row.technician for row in rows] == [ada, in_firm.technician, in_firm.technician]
    assert [row.planned_on for row in rows] == [timezone.localdate(), tomorrow, timezone.localdate()]
    assert [row.sequence for row in rows] == [0, 1, 2]
    assert [row.revision for row in rows] == [1, 1, 0]
    trail = AuditEvent.objects.filter(action="visit.plan_changed").order_by("id")
    assert [event.detail for event in trail] == [
        {"revision": 1, "fields": ["technician"]},
        {"revision": 1, "fields": ["planned_on"]},
    ]


def test_a_visit_that_somebody_changed_meanwhile_stops_all_changes(in_firm: Firm) -> None:
    visits = plan_visits(wanted=wanted(in_firm), by=in_firm.office)
    change_plan(visit=visits[2], by=in_firm.office, expected_revision=0, sequence=9)

    with pytest.raises(Changed, match="changed the plan"):
        change_plans(changes=[(visit, {"sequence": 5}) for visit in visits], by=in_firm.office)
    with pytest.raises(Changed):
        cancel_visits(visits=visits, reason="Owner rang", by=in_firm.office)

    assert sorted(Visit.objects.values_list("sequence", flat=True)) == [0, 1, 9]


def test_what_has_begun_is_neither_changed_nor_cancelled(in_firm: Firm) -> None:
    begun = started(in_firm)
    visits = [*plan_visits(wanted=wanted(in_firm), by=in_firm.office), begun]

    with pytest.raises(Refused, match="has started"):
        change_plans(changes=[(visit, {"sequence": 5}) for visit in visits], by=in_firm.office)
    with pytest.raises(Refused, match="has started"):
        cancel_visits(visits=visits, reason="Owner rang", by=in_firm.office)
    with pytest.raises(TypeError, match="verdict"):
        change_plans(changes=[(begun, {"verdict": "fit_now"})], by=in_firm.office)

    assert Visit.objects.filter(state=VisitState.PLANNED).count() == 3


def test_cancelled_visits_keep_the_reason(in_firm: Firm) -> None:
    visits = plan_visits(wanted=wanted(in_firm), by=in_firm.office)

    with pytest.raises(ValidationError, match="Say why"):
        cancel_visits(visits=visits, reason=" ", by=in_firm.office)
    cancel_visits(visits=visits[:2], reason="Owner rang", by=in_firm.office)

    gone = Visit.objects.filter(state=VisitState.CANCELLED, end_reason="Owner rang", revision=1)
    assert {row.pk for row in gone if row.ended_at} == {visit.pk for visit in visits[:2]}
    assert AuditEvent.objects.filter(action="visit.cancelled").count() == 2


def test_forty_visits_take_hardly_more_statements_than_four(in_firm: Firm) -> None:
    for work in (
        lambda some: plan_visits(wanted=some, by=in_firm.office),
        lambda some: change_plans(
            changes=[(v, {"sequence": 7}) for v in plan_visits(wanted=some, by=in_firm.office)],
            by=in_firm.office,
        ),
        lambda some: cancel_visits(
            visits=plan_visits(wanted=some, by=in_firm.office), reason="Frost", by=in_firm.office
        ),
    ):
        few, many = wanted(in_firm, 4), wanted(in_firm, 40)
        work(wanted(in_firm, 1))  # looks up once what people may do
        # SQLite takes 999 values a statement at the most, so 40 rows go in in parts.
        assert statements(partial(work, many)) <= statements(partial(work, few)) + 6
