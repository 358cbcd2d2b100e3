"""Plays one visit of the scenario through the use cases that a technician's page calls."""

from collections.abc import Mapping
from datetime import date, time, timedelta
from decimal import Decimal
from typing import Any

import time_machine
from django.utils import timezone

from accounts.models import Person
from service.sites.models import Spa
from service.stock.models import Batch, Instrument
from service.visits.amend import amend_record
from service.visits.decide import decide
from service.visits.editing import Refused
from service.visits.fresh_fill import lines_for
from service.visits.inspection import ITEMS, answer_inspection
from service.visits.models import Moment, StepState, Task, TaskKind, TreatmentStep, Visit, VisitState
from service.visits.open import end_without_signing, start_visit
from service.visits.plan import plan_visit
from service.visits.readings import ReadingInput, record_readings
from service.visits.sign import sign_visit
from service.visits.tasks import do_task, take_on_task, tick_line
from service.visits.treatment import do_step, expected_water, skip_step, standing_steps
from service.visits.verdict import standing_verdict

# A step is carried out this long after the one before it, when nothing has to be waited for.
STEP_MINUTES = 4
# Rounds of dosing and testing at one visit, at most.
MOST_ROUNDS = 3
MOST_WAITS = 10
LINE_MINUTES = 9
CRUMB_G = 8
CRUMB = "Too little to measure out; seen to at the next visit."
DRAIN = TaskKind.DRAIN_REFILL


def play_visit(
    entry: Mapping[str, Any],
    *,
    spa: Spa,
    technician: Person,
    cast_instruments: Mapping[str, Instrument],
    pin: str,
    planned_on: date,
    office: Person,
) -> Visit:
    """Plan the visit, and carry it out as the entry says. The clock already stands at its start."""
    visit = _plan(entry, spa=spa, technician=technician, planned_on=planned_on, office=office)
    end = entry.get("end", "signed")
    if end == "planned":
        return visit
    if end != VisitState.MISSED:
        start_visit(visit=visit, by=technician)
    if end != "signed":
        end_without_signing(visit=visit, state=end, reason=entry["reason"], by=technician)
        return visit
    _look_and_test(entry, visit, technician, cast_instruments)
    with time_machine.travel(timezone.now(), tick=False) as clock:
        _treat(entry, visit, technician, cast_instruments, clock)
        clock.shift(timedelta(minutes=3))
        visit.refresh_from_db()
        standing = standing_verdict(visit, timezone.now(), technician)
        record = sign_visit(
            visit=visit,
            closed=not standing.is_fit,
            pin=pin,
            by=technician,
            expected_revision=_revision(visit),
            note_to_owner=entry.get("note", ""),
            retest_by=technician.name,
            retest_due=timezone.now() + timedelta(hours=24),
        )
        if amendment := entry.get("amend"):
            clock.shift(timedelta(hours=3))
            amend_record(record=record, by=technician, **amendment)
    return visit


def _plan(
    entry: Mapping[str, Any], *, spa: Spa, technician: Person, planned_on: date, office: Person
) -> Visit:
    opens, closes = (time.fromisoformat(at) for at in entry.get("window", ("08:00", "18:00")))
    return plan_visit(
        spa=spa,
        planned_on=planned_on,
        technician=technician,
        by=office,
        window_from=opens,
        window_to=closes,
        kind=entry.get("kind", "round"),
        instructions=entry.get("instructions", ""),
        changeover=entry.get("changeover", False),
        bathers_expected=entry.get("bathers_expected"),
    )


def _look_and_test(
    entry: Mapping[str, Any], visit: Visit, technician: Person, instruments: Mapping[str, Instrument]
) -> None:
    answers = {item.key: ("yes", "") for item in ITEMS}
    answers |= {key: (answer, note) for key, (answer, note) in entry.get("inspection", {}).items()}
    answer_inspection(visit=visit, answers=answers, by=technician, expected_revision=_revision(visit))
    _record(visit, Moment.BEFORE, entry["readings"], technician, instruments[entry["instrument"]])
    if "drain" in entry:
        take_on_task(visit=visit, kind=DRAIN, by=technician, expected_revision=_revision(visit))
    decide(visit=visit, moment=Moment.BEFORE, by=technician)


def _treat(
    entry: Mapping[str, Any],
    visit: Visit,
    technician: Person,
    instruments: Mapping[str, Instrument],
    clock: Any,
) -> None:
    for kind in entry.get("tasks", []):
        do_task(visit=visit, kind=kind, by=technician, expected_revision=_revision(visit))
        clock.shift(timedelta(minutes=6))
    if entry["treatment"] != "as_planned":
        return
    instrument = instruments[entry["instrument"]]
    if fresh := entry.get("drain"):
        _drain(fresh, visit, technician, instrument, clock)
    _dose(entry, fresh or entry["readings"], visit, technician, instrument, clock)
    if fresh:
        _tick_lines(visit, technician, clock)
        do_task(visit=visit, kind=DRAIN, by=technician, expected_revision=_revision(visit))


def _dose(
    entry: Mapping[str, Any],
    typed: Mapping[str, str],
    visit: Visit,
    technician: Person,
    instrument: Instrument,
    clock: Any,
) -> None:
    """Rounds of dosing, each with a test after it that reads the water as the engine expects it."""
    for _ in range(MOST_ROUNDS):
        dosed = _carry_out_round(visit, technician, clock)
        expected = expected_water(Visit.objects.get(pk=visit.pk))
        if not dosed or entry["after"] != "as_expected" or expected is None:
            return
        typed = _as_expected(typed, expected)
        _record(visit, Moment.AFTER, typed, technician, instrument)
        decide(visit=visit, moment=Moment.AFTER, by=technician)
        if _leave_crumbs(visit, technician):
            return


def _leave_crumbs(visit: Visit, technician: Person) -> bool:
    """Pass what is left of the plan when no dose of it is worth measuring out. Whether it was passed."""
    left = [
        step for step in standing_steps(Visit.objects.get(pk=visit.pk)) if step.state == StepState.PLANNED
    ]
    if any(step.action != "retest" and (step.planned_mass_g or CRUMB_G) >= CRUMB_G for step in left):
        return False
    for step in left:
        skip_step(step=step, reason=CRUMB, by=technician, expected_revision=_revision(visit))
    return True


def _drain(
    fresh: Mapping[str, str], visit: Visit, technician: Person, instrument: Instrument, clock: Any
) -> None:
    """Let the old water out, fill, and test the new: the lines up to that test."""
    _tick_lines(visit, technician, clock, until="supply_tested")
    _record(visit, Moment.AFTER, fresh, technician, instrument)
    decide(visit=visit, moment=Moment.AFTER, by=technician)


def _tick_lines(visit: Visit, technician: Person, clock: Any, *, until: str = "") -> None:
    """The lines of the drain and refill that are open, in order; ``until``: the last one."""
    lines = lines_for(visit.spa)
    done = Task.objects.get(visit=visit, kind=DRAIN).lines_done
    for line in lines:
        if line.key in done:
            continue
        tick_line(visit=visit, key=line.key, by=technician, expected_revision=_revision(visit))
        clock.shift(timedelta(minutes=LINE_MINUTES))
        if line.key == until:
            return


def _carry_out_round(visit: Visit, technician: Person, clock: Any) -> bool:
    """Do the steps up to the next retest. Whether anything went into the water."""
    dosed = False
    visit = Visit.objects.get(pk=visit.pk)
    for step in standing_steps(visit):
        if step.state != StepState.PLANNED:
            continue
        if step.action == "retest":
            break
        clock.shift(timedelta(minutes=STEP_MINUTES))
        _do_when_its_turn_comes(step, visit, technician, clock)
        clock.shift(timedelta(minutes=int(step.planned.get("wait_minutes") or 0)))
        dosed = dosed or step.action in ("add", "replace_water")
    return dosed


def _do_when_its_turn_comes(step: TreatmentStep, visit: Visit, technician: Person, clock: Any) -> None:
    """Do the step; when a wait still runs, wait as the refusal says and try again."""
    for tries_left in reversed(range(MOST_WAITS)):
        try:
            do_step(
                step=step,
                by=technician,
                expected_revision=_revision(visit),
                actual_mass_g=step.planned_mass_g,
                batch=_batch_for(step),
            )
        except Refused:
            if not tries_left:
                raise
            clock.shift(timedelta(minutes=15))
        else:
            return


def _batch_for(step: TreatmentStep) -> Batch | None:
    return Batch.objects.filter(product=step.product).first() if step.product_id else None


def _record(
    visit: Visit, moment: str, typed: Mapping[str, str], technician: Person, instrument: Instrument
) -> None:
    readings = [
        ReadingInput(parameter=parameter, value=text, method=instrument.method, instrument=instrument)
        for parameter, text in typed.items()
    ]
    record_readings(
        visit=visit,
        moment=moment,
        readings=readings,
        by=technician,
        expected_revision=_revision(visit),
    )


def _as_expected(before: Mapping[str, str], expected: Mapping[str, Any]) -> dict[str, str]:
    """What the tests would read after dosing: the water as computed, to the instrument's digits."""
    typed = {}
    for parameter, text in before.items():
        value = expected.get(parameter)
        if value is not None:
            digits = -Decimal(text).as_tuple().exponent  # type: ignore[operator]
            typed[parameter] = f"{max(0.0, value):.{digits}f}"
    if "total_chlorine_mg_l" in before and "free_chlorine_mg_l" in typed:
        combined = Decimal(before["total_chlorine_mg_l"]) - Decimal(before["free_chlorine_mg_l"])
        typed["total_chlorine_mg_l"] = str(Decimal(typed["free_chlorine_mg_l"]) + combined)
    return typed


def _revision(visit: Visit) -> int:
    visit.refresh_from_db()
    return visit.revision
