"""What needs a person: which line each state of things makes, and that it leaves once it is settled."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from service.office.attention import attention
from service.office.need import Kind, Need, Urgency
from service.rounds.models import PlannedVisit
from service.runs.models import Run, RunState
from service.sites.archive import archive
from service.sites.models import Spa
from service.visits.closures import close_spa
from service.visits.defects import settle_defect
from service.visits.due import CUSTOM, due_jobs
from service.visits.models import (
    Consent,
    Defect,
    Task,
    TaskKind,
    TaskState,
    Verdict,
    VisitKind,
    VisitState,
)
from service.visits.overdue import overdue_jobs
from service.visits.plan import cancel_visit
from tests.factories import (
    BatchFactory,
    BookingFactory,
    CalendarFactory,
    InstrumentFactory,
    ProductFactory,
    SpaFactory,
    VisitFactory,
)
from tests.personas import Firm
from tests.rounds.planned import planned_round
from tests.visits.working import planned

TODAY = timezone.localdate()
pytestmark = pytest.mark.usefixtures("in_firm")


def needs(firm: Firm, **narrowed: str) -> list[Need]:
    return list(attention(by=firm.office, **narrowed).needs)


def kinds(firm: Firm) -> list[Kind]:
    return [need.kind for need in needs(firm)]


def the(firm: Firm, kind: Kind) -> Need:
    return next(need for need in needs(firm) if need.kind == kind)


def test_a_firm_without_trouble_has_nothing(firm: Firm) -> None:
    planned(firm, planned_on=TODAY + timedelta(days=1))

    assert needs(firm) == []


def test_a_closed_spa_asks_for_its_retest_to_be_planned_and_then_says_who_comes(firm: Firm) -> None:
    close_spa(spa=firm.spa, reason="Glass in the water", by=firm.office)
    need = the(firm, Kind.CLOSED)

    assert "Glass in the water" in need.text
    assert need.urgency == Urgency.NOW
    assert need.action == "Plan the retest"
    assert need.action_url == f"{reverse('visits:plan_new')}?spa={firm.spa.pk}&kind=retest"

    visit = planned(firm, kind=VisitKind.RETEST, planned_on=TODAY + timedelta(days=1))
    need = the(firm, Kind.CLOSED)

    assert need.action_url == reverse("visits:plan_edit", args=[visit.pk])
    assert firm.technician.name in need.text


def test_a_retest_past_its_time_is_overdue_and_stands_before_everything(firm: Firm) -> None:
    closed = close_spa(spa=firm.spa, reason="Chlorine too low", by=firm.office)
    ended = timezone.now() - timedelta(hours=3)
    VisitFactory(
        spa=firm.spa,
        state=VisitState.SIGNED,
        verdict=Verdict.CLOSED_UNTIL_RETEST,
        ended_at=closed.renewed_at + timedelta(seconds=1),
        retest_due=ended + timedelta(hours=2),
        planned_on=TODAY - timedelta(days=1),
    )
    close_spa(spa=firm.hidden_spa, reason="Cover torn", by=firm.office)

    assert kinds(firm)[:2] == [Kind.RETEST, Kind.CLOSED]
    assert "Retest was due" in the(firm, Kind.RETEST).text


@pytest.mark.parametrize(
    "state", [VisitState.NO_ACCESS, VisitState.BATHERS, VisitState.REFUSED, VisitState.MISSED]
)
def test_a_visit_that_did_not_happen_is_a_line_until_it_is_planned_again(firm: Firm, state: str) -> None:
    missed = VisitFactory(
        spa=firm.spa,
        technician=firm.technician,
        planned_on=TODAY - timedelta(days=2),
        state=state,
        end_reason="Gate locked",
    )
    need = the(firm, Kind.MISSED)

    assert "Gate locked" in need.text
    assert missed.get_state_display() in need.text
    assert need.technician == (str(firm.technician.pk), firm.technician.name)

    planned(firm, planned_on=TODAY + timedelta(days=1))

    assert Kind.MISSED not in kinds(firm)


def test_a_cancelled_visit_and_one_handed_over_need_nobody(firm: Firm) -> None:
    cancel_visit(visit=planned(firm, planned_on=TODAY), reason="Owner away", by=firm.office)

    assert needs(firm) == []


def test_a_visit_still_open_from_yesterday_and_one_that_nobody_is_sent_to_today_are_lines(firm: Firm) -> None:
    VisitFactory(spa=firm.spa, technician=firm.technician, planned_on=TODAY - timedelta(days=1))
    planned(firm, firm.hidden_spa, technician=None)

    assert [(need.kind, need.about) for need in needs(firm)] == [
        (Kind.OPEN, firm.spa.name),
        (Kind.OPEN, firm.hidden_spa.name),
    ]
    assert "Nobody is sent" in needs(firm)[1].text


def test_a_visit_of_today_that_somebody_is_sent_to_is_no_line(firm: Firm) -> None:
    planned(firm)

    assert needs(firm) == []


def guests(firm: Firm, arrive: datetime) -> None:
    BookingFactory(site=firm.site, arrives_at=arrive, leaves_at=arrive + timedelta(days=3))


def test_guests_who_arrive_after_the_test_lapses_are_a_line_until_a_visit_comes_first(firm: Firm) -> None:
    arrive = timezone.now() + timedelta(hours=20)
    VisitFactory(
        spa=firm.spa,
        state=VisitState.SIGNED,
        verdict=Verdict.FIT_NOW,
        ended_at=timezone.now() - timedelta(hours=2),
        holds_until=arrive - timedelta(hours=1),
        planned_on=TODAY,
    )
    guests(firm, arrive)

    assert the(firm, Kind.GUESTS).about == firm.spa.name

    planned(firm, planned_on=TODAY)

    assert Kind.GUESTS not in kinds(firm)


def test_guests_who_arrive_while_the_test_holds_or_in_a_week_are_no_line(firm: Firm) -> None:
    arrive = timezone.now() + timedelta(hours=20)
    VisitFactory(
        spa=firm.spa,
        state=VisitState.SIGNED,
        verdict=Verdict.FIT_NOW,
        ended_at=timezone.now() - timedelta(hours=2),
        holds_until=arrive + timedelta(hours=1),
        planned_on=TODAY,
    )
    guests(firm, arrive)
    BookingFactory(
        site=firm.hidden_site,
        arrives_at=timezone.now() + timedelta(days=7),
        leaves_at=timezone.now() + timedelta(days=9),
    )

    assert Kind.GUESTS not in kinds(firm)


def test_a_drain_that_the_guideline_wanted_done_is_overdue_with_its_clause_and_leaves_when_done(
    firm: Firm,
) -> None:
    # New York State Sanitary Code 6-1: the set's own interval, read from the guideline's data.
    firm.spa.guideline_id = "new_york_6_1"
    firm.spa.commissioned_on = TODAY - timedelta(days=400)
    firm.spa.save()
    need = next(need for need in needs(firm) if need.text.startswith("Drain and refill"))

    assert need.kind == Kind.DUTY
    assert "6-1" in need.text
    assert need.action == "Plan a visit"

    visit = VisitFactory(spa=firm.spa, planned_on=TODAY, technician=firm.technician)
    Task.objects.create(
        organisation=firm.organisation,
        visit=visit,
        kind=TaskKind.DRAIN_REFILL,
        state=TaskState.DONE,
        done_at=timezone.now(),
    )

    assert not any(need.text.startswith("Drain and refill") for need in needs(firm))


def test_what_is_overdue_for_all_spas_at_once_is_what_is_overdue_at_each(firm: Firm) -> None:

    for number, guideline in enumerate(
        ("new_york_6_1", "iowa_641_15", "dc_25c", "uk_hsg282", "new_york_6_1")
    ):
        spa = SpaFactory(
            site=firm.site, guideline_id=guideline, commissioned_on=TODAY - timedelta(days=50 * number)
        )
        visit = VisitFactory(
            spa=spa, planned_on=TODAY - timedelta(days=9 * number), changeover=number % 2 == 0
        )
        Task.objects.create(
            organisation=firm.organisation,
            visit=visit,
            kind=TaskKind.FILTER_RINSE if number % 2 else TaskKind.DRAIN_REFILL,
            state=TaskState.DONE,
            done_at=timezone.now() - timedelta(days=9 * number),
        )
    spas = list(Spa.objects.select_related("site__client", "organisation"))
    one_by_one = {
        spa.pk: [job for job in due_jobs(spa, TODAY) if job.on < TODAY and job.source != CUSTOM]
        for spa in spas
    }

    assert overdue_jobs(spas, TODAY) == {key: jobs for key, jobs in one_by_one.items() if jobs}
    assert any(one_by_one.values())


def test_single_things_past_their_day_are_lines(firm: Firm) -> None:
    yesterday = TODAY - timedelta(days=1)
    owned: dict[str, Any] = {"organisation": firm.organisation}
    found_there: dict[str, Any] = {**owned, "spa": firm.spa, "found_by": firm.office}
    late = Defect.objects.create(**found_there, description="Pump leaks", due_on=yesterday)
    Defect.objects.create(**found_there, description="Cover torn", consent=Consent.WAITING)
    InstrumentFactory(**owned, name="Meter A", check_due_on=yesterday)
    InstrumentFactory(**owned, name="Strips", reagent_lot="L7", reagent_expires_on=yesterday)
    batch = BatchFactory(product=ProductFactory(**owned, name="Granules"), code="B9", expires_on=yesterday)
    CalendarFactory(site=firm.site, name="Bookings", error="The address does not answer.")
    Run.objects.create(**owned, task="x", title="Plan the week", state=RunState.FAILED, error="No roads.")

    found = {(need.kind, need.about) for need in needs(firm)}

    assert found == {
        (Kind.DEFECT, "Pump leaks"),
        (Kind.CONSENT, "Cover torn"),
        (Kind.INSTRUMENT, "Meter A"),
        (Kind.BATCH, "Strips"),
        (Kind.BATCH, "Granules"),
        (Kind.CALENDAR, "Bookings"),
        (Kind.RUN, "Plan the week"),
    }
    assert next(n for n in needs(firm) if n.about == "Granules").action_url == reverse(
        "stock:batch_archive", args=[batch.pk]
    )
    settle_defect(defect=late, note="New seal", by=firm.office)
    assert Kind.DEFECT not in kinds(firm)


def test_a_visit_without_a_place_in_the_published_week_is_a_line_until_it_is_planned_by_hand(
    firm: Firm,
) -> None:
    plan = planned_round(firm.technician, firm.spa).plan
    PlannedVisit.objects.create(
        organisation=firm.organisation,
        plan=plan,
        key="k",
        spa=firm.hidden_spa,
        reason="Nobody has the skill.",
    )
    need = the(firm, Kind.UNSERVED)

    assert need.about == firm.hidden_spa.name
    assert "Nobody has the skill" in need.text

    planned(firm, firm.hidden_spa, planned_on=plan.monday + timedelta(days=6))

    assert Kind.UNSERVED not in kinds(firm)


def test_somebody_with_visits_and_no_signing_pin_is_a_line(firm: Firm) -> None:
    firm.technician.signing_pin = ""
    firm.technician.save()
    planned(firm, planned_on=TODAY + timedelta(days=1))
    need = the(firm, Kind.PIN)

    assert need.about == firm.technician.name
    assert need.action_url == f"mailto:{firm.technician.email}"


def test_archived_spas_need_nobody(firm: Firm) -> None:
    close_spa(spa=firm.spa, reason="Glass", by=firm.office)
    archive(place=firm.spa, by=firm.office)

    assert needs(firm) == []


def test_the_list_narrows_by_kind_and_by_technician(firm: Firm) -> None:
    VisitFactory(spa=firm.spa, technician=firm.technician, planned_on=TODAY - timedelta(days=1))
    close_spa(spa=firm.hidden_spa, reason="Glass", by=firm.office)

    assert [need.kind for need in needs(firm, kind="closed")] == [Kind.CLOSED]
    assert [need.kind for need in needs(firm, technician=str(firm.technician.pk))] == [Kind.OPEN]
    assert attention(by=firm.office, kind="closed").counts == {Kind.CLOSED: 1, Kind.OPEN: 1}
