"""Jobs beside the water: what is due, by which clause, and a drain line by line."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from accounts.access import NotAllowed
from service.sites.models import ClientKind, Sanitiser
from service.visits.due import CUSTOM, due_jobs
from service.visits.editing import AlreadySigned, Refused
from service.visits.fresh_fill import FRESH_FILL, lines_for
from service.visits.models import Task, TaskKind, TaskState, Visit, VisitState
from service.visits.tasks import do_task, due_tasks, leave_task, take_on_task, tick_line
from tests.personas import Firm
from tests.visits.working import GOOD, MORNING, fresh, planned, read, ready, sign, signed, started

TODAY = MORNING.date()


def follow(firm: Firm, guideline: str) -> None:
    firm.spa.guideline_id = guideline
    firm.spa.commissioned_on = TODAY - timedelta(400)
    firm.spa.save()


def done_before(firm: Firm, kind: str, days: int) -> None:
    """A task of this kind, done so many days ago."""
    visit = planned(firm)
    at = timezone.now() - timedelta(days)
    Task.objects.create(
        organisation=firm.organisation, visit=visit, kind=kind, state=TaskState.DONE, done_at=at
    )
    Visit.objects.filter(pk=visit.pk).update(state=VisitState.MISSED, end_reason="Laid out by a test")


def due(firm: Firm) -> dict[str, Any]:
    visit = fresh(planned(firm))
    return {job.kind: job for job in due_jobs(visit.spa, TODAY)}


def test_new_york_wants_a_drain_every_two_weeks(in_firm: Firm) -> None:
    # 10 NYCRR 6-1.25(d), read in the document: drained and cleaned at least every two weeks.
    follow(in_firm, "new_york_6_1")
    done_before(in_firm, TaskKind.DRAIN_REFILL, 13)
    assert TaskKind.DRAIN_REFILL not in due(in_firm)

    Task.objects.update(done_at=timezone.now() - timedelta(14))

    job = due(in_firm)[TaskKind.DRAIN_REFILL]
    assert job.on == TODAY
    assert "6-1.25(d)" in job.source
    assert job.why == "Last 20 May 2026; due 3 Jun 2026."


def test_hsg282_wants_a_drain_and_the_filter_at_each_change_of_guests(in_firm: Firm) -> None:
    # HSG282 (2017), domestic-type table, read second-hand: between groups or weekly, the shorter.
    follow(in_firm, "uk_hsg282")
    for kind in (TaskKind.DRAIN_REFILL, TaskKind.FILTER_RINSE):
        done_before(in_firm, kind, 2)
    assert not {TaskKind.DRAIN_REFILL, TaskKind.FILTER_RINSE} & due(in_firm).keys()

    planned(in_firm, changeover=True)

    jobs = due(in_firm)
    assert {TaskKind.DRAIN_REFILL, TaskKind.FILTER_RINSE} <= jobs.keys()
    assert "domestic-type table" in jobs[TaskKind.FILTER_RINSE].source
    assert jobs[TaskKind.FILTER_RINSE].mark == "Second-hand. Check the document."


def test_a_commercial_tub_is_held_to_the_commercial_rule(in_firm: Firm) -> None:
    # HPA/HSE 2006 / HSG282 commercial table, from memory: weekly, without regard to groups.
    follow(in_firm, "uk_hsg282")
    in_firm.client.kind = ClientKind.HOTEL
    in_firm.client.save()
    done_before(in_firm, TaskKind.DRAIN_REFILL, 8)

    assert "ommercial" in due(in_firm)[TaskKind.DRAIN_REFILL].source


def test_a_laboratory_sample_falls_due_by_the_month(in_firm: Firm) -> None:
    # WHO 2007 section 8.5.2: Legionella in hot tubs monthly (30 days in the set's data).
    follow(in_firm, "who_2007")
    assert due(in_firm)[TaskKind.LAB_SAMPLE].why == "Legionella: Never sampled: due today."

    visit = started(in_firm)
    read(in_firm, visit, {"legionella_cfu_l": "<10"})
    assert TaskKind.LAB_SAMPLE not in due(in_firm)

    visit.readings.update(taken_at=timezone.now() - timedelta(30))
    assert "section 8.5.2" in due(in_firm)[TaskKind.LAB_SAMPLE].source


def test_a_sample_that_was_taken_counts_before_its_result_is_there(in_firm: Firm) -> None:
    follow(in_firm, "who_2007")
    done_before(in_firm, TaskKind.LAB_SAMPLE, 29)

    assert TaskKind.LAB_SAMPLE not in due(in_firm)


def test_dissolved_solids_above_the_supply_ask_for_a_drain(in_firm: Firm) -> None:
    # 10-144 CMR ch. 202 App. B item 1 and its Example 1: fill 800, spa 2500: rise 1700 is above 1500.
    follow(in_firm, "maine_10_144_202")
    in_firm.site.supply_water = {"total_dissolved_solids_mg_l": 800}
    in_firm.site.save()
    done_before(in_firm, TaskKind.DRAIN_REFILL, 5)
    visit = started(in_firm)
    read(in_firm, visit, {"total_dissolved_solids_mg_l": "2299"})
    assert TaskKind.DRAIN_REFILL not in due(in_firm)

    read(in_firm, visit, {"total_dissolved_solids_mg_l": "2500"})

    job = due(in_firm)[TaskKind.DRAIN_REFILL]
    assert "2500 - 800 = 1700 mg/L against 1500 mg/L" in job.why
    assert "App. B item 1" in job.source


def test_where_the_set_is_silent_custom_speaks_and_says_so(in_firm: Firm) -> None:
    follow(in_firm, "dc_25c")
    done_before(in_firm, TaskKind.FILTER_RINSE, 6)
    done_before(in_firm, TaskKind.DRAIN_REFILL, 90)

    jobs = due(in_firm)

    assert TaskKind.FILTER_RINSE not in jobs
    assert (jobs[TaskKind.DRAIN_REFILL].source, jobs[TaskKind.COVER].source) == (CUSTOM, CUSTOM)
    assert jobs[TaskKind.DRAIN_REFILL].why == "Last 5 Mar 2026; usual every 90 days."
    assert jobs[TaskKind.COVER].why == "Not on record yet; usual every 30 days."


def test_an_unknown_set_leaves_custom(in_firm: Firm) -> None:
    follow(in_firm, "of_nowhere")

    assert {job.source for job in due(in_firm).values()} == {CUSTOM}


def test_the_page_shows_what_is_due_and_what_was_done_about_it(in_firm: Firm) -> None:
    visit = started(in_firm)
    do_task(
        visit=visit, kind=TaskKind.COVER, by=in_firm.technician, expected_revision=None, remark="Strap tight"
    )
    leave_task(
        visit=visit,
        kind=TaskKind.FILTER_SOAK,
        reason="No spare with me",
        by=in_firm.technician,
        expected_revision=None,
    )
    take_on_task(visit=visit, kind=TaskKind.FEEDER, by=in_firm.technician, expected_revision=None)

    shown = {task.kind: task for task in due_tasks(fresh(visit))}

    assert {kind for kind, task in shown.items() if task.is_settled} == {TaskKind.COVER, TaskKind.FILTER_SOAK}
    assert shown[TaskKind.FEEDER].due_on is None
    assert shown[TaskKind.COVER].task is not None
    assert (
        shown[TaskKind.COVER].task.why
        == "Not on record yet; usual every 30 days. (common practice, no source)"
    )


def test_what_is_left_at_signing_stands_in_the_record_as_not_done(in_firm: Firm) -> None:
    visit = ready(in_firm)
    take_on_task(visit=visit, kind=TaskKind.FEEDER, by=in_firm.technician, expected_revision=None)

    record = sign(in_firm, visit)

    states = {task["kind"]: task["state"] for task in record.content["tasks"]}
    assert states[TaskKind.FEEDER] == TaskState.NOT_DONE
    assert states[TaskKind.FILTER_RINSE] == TaskState.NOT_DONE


def test_a_task_has_its_limits(in_firm: Firm, stranger: Firm) -> None:
    visit = started(in_firm)
    kind = TaskKind.COVER
    with pytest.raises(ValidationError, match="from the list"):
        do_task(visit=visit, kind="mow", by=in_firm.technician, expected_revision=None)
    with pytest.raises(ValidationError, match="Say why it is left"):
        leave_task(visit=visit, kind=kind, reason="", by=in_firm.technician, expected_revision=None)
    with pytest.raises(ValidationError, match="cannot lie in the future"):
        do_task(
            visit=visit,
            kind=kind,
            by=in_firm.technician,
            expected_revision=None,
            done_at=timezone.now() + timedelta(hours=1),
        )
    for person in (stranger.technician, in_firm.rental_manager):
        with pytest.raises(NotAllowed):
            do_task(visit=visit, kind=kind, by=person, expected_revision=None)
    with pytest.raises(Refused, match="Start the visit first"):
        do_task(visit=planned(in_firm), kind=kind, by=in_firm.technician, expected_revision=None)
    with pytest.raises(AlreadySigned):
        do_task(visit=visit_signed(in_firm), kind=kind, by=in_firm.technician, expected_revision=None)


def visit_signed(firm: Firm) -> Visit:
    Visit.objects.filter(state=VisitState.ON_SITE).update(
        state=VisitState.MISSED, end_reason="Laid out by a test"
    )
    return signed(firm)


def test_the_fresh_fill_begins_with_the_breaker_and_ends_with_the_heat() -> None:
    keys = [line.key for line in FRESH_FILL]

    assert keys[0] == "breaker_off"
    assert keys.index("old_water_tested") < keys.index("discharged") < keys.index("filled")
    order = ["filled", "breaker_on", "supply_tested", "alkalinity_and_ph", "hardness", "bromide_bank"]
    assert [key for key in keys if key in order] == order
    assert keys[-2:] == ["sanitiser", "heating"]


def test_the_bromide_bank_is_a_line_of_bromine_tubs_only(in_firm: Firm) -> None:
    assert "bromide_bank" not in {line.key for line in lines_for(in_firm.spa)}
    in_firm.spa.sanitiser = Sanitiser.BROMINE
    assert "bromide_bank" in {line.key for line in lines_for(in_firm.spa)}


def test_a_drain_goes_line_by_line_and_the_breaker_is_never_passed(in_firm: Firm) -> None:
    visit = started(in_firm)

    def tick(key: str, skipped: str = "") -> Task:
        return tick_line(visit=visit, key=key, by=in_firm.technician, expected_revision=None, skipped=skipped)

    with pytest.raises(Refused, match="First: Breaker off"):
        tick("filled")
    with pytest.raises(Refused, match="cannot be passed"):
        tick("breaker_off", skipped="In a hurry")
    tick("breaker_off")
    with pytest.raises(Refused, match="A line is still open: Old water tested"):
        do_task(visit=visit, kind=TaskKind.DRAIN_REFILL, by=in_firm.technician, expected_revision=None)
    with pytest.raises(Refused, match="The drain has begun"):
        leave_task(
            visit=visit,
            kind=TaskKind.DRAIN_REFILL,
            reason="Rain",
            by=in_firm.technician,
            expected_revision=None,
        )
    for line in lines_for(in_firm.spa)[1:]:
        task = tick(line.key, skipped="Purged last week" if line.key == "lines_purged" else "")

    assert task.lines_done["lines_purged"] == {"at": MORNING.isoformat(), "skipped": "Purged last week"}
    with pytest.raises(Refused, match="Every line is done"):
        tick("heating")
    done = do_task(visit=visit, kind=TaskKind.DRAIN_REFILL, by=in_firm.technician, expected_revision=None)
    assert done.state == TaskState.DONE


def test_the_old_water_of_a_drain_is_read_and_its_test_still_stands(in_firm: Firm) -> None:
    visit = read(in_firm, started(in_firm), GOOD)
    take_on_task(visit=visit, kind=TaskKind.DRAIN_REFILL, by=in_firm.technician, expected_revision=None)

    assert fresh(visit).readings.count() == len(GOOD)
