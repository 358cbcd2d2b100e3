"""The verdict as it would stand in the record if the visit were signed now.

Three verdicts. *Fit now*: measured after the last thing that was added, or nothing was needed.
*Fit from a time*: everything that closes was inside before, and nothing that was added can push it
out; or it was measured and a wait is still running. Else *closed until a retest*. No person
overrides it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from accounts.models import Person
from service.chemistry.guidelines.clocks import DueTest
from service.chemistry.guidelines.parameters import SANITISER_PARAMETER
from service.visits.bathing import free_for_bathing
from service.visits.changes import CHANGES_WATER, done_changes, drained_at, last_change, latest
from service.visits.clock import say, zone_of
from service.visits.closures import open_closure
from service.visits.decide import is_current, standing_decision
from service.visits.defects import open_dangers
from service.visits.deviations import is_provisional, may_push_out
from service.visits.drafts import unsaved_sections
from service.visits.inspection import BY_KEY, MUST_BE_ANSWERED
from service.visits.judging import Judgement, judge_readings
from service.visits.models import (
    Answer,
    Closure,
    Decision,
    Defect,
    Moment,
    Reading,
    StepState,
    TreatmentStep,
    Verdict,
    Visit,
    VisitState,
)
from service.visits.readings import BY_PARAMETER, instrument_remark
from service.visits.standing_water import readings_at
from service.visits.water_tests import key_test, not_made, tests_of_the_set
from service.visits.whole import gathered

ENGINE_FIT = ("fit_now", "fit_from")


@dataclass(frozen=True)
class VerdictAtSign:
    """What signing would write now.

    verdict      One of Verdict. fit_from: with FIT_FROM, from when. tested_at: oldest reading it rests on.
    holds_until  When the next test of sanitiser or pH is due; None with a closed verdict.
    why          Sentences: what the verdict rests on.
    needs        What is missing for a better verdict than closed. Signing it closed all the same is possible.
    blocks       What has to be settled before it can be signed at all.
    """

    verdict: str
    fit_from: datetime | None
    holds_until: datetime | None
    tested_at: datetime | None
    why: list[str]
    needs: list[str]
    blocks: list[str]

    @property
    def is_fit(self) -> bool:
        return self.verdict != Verdict.CLOSED_UNTIL_RETEST


@dataclass
class Case:
    """Everything at the visit that the verdict rests on, read once.

    moment    The moment whose readings are judged: after, once something was changed or read again.
    measured  The readings of that moment hold the sanitiser and pH.
    """

    visit: Visit
    now: datetime
    zone: ZoneInfo
    changes: list[TreatmentStep]
    drained: datetime | None
    changed_at: datetime | None
    steps: list[TreatmentStep]
    moment: str
    readings: list[Reading]
    judgement: Judgement
    decision: Decision | None
    current: bool
    closure: Closure | None
    dangers: list[Defect]
    answers: dict[str, str] = field(default_factory=dict)

    @property
    def key_parameters(self) -> tuple[str, ...]:
        own = SANITISER_PARAMETER.get(self.visit.spa.sanitiser)
        return tuple(name for name in (own, "ph") if name is not None)

    @property
    def tests(self) -> list[DueTest]:
        """When each test is due again, by what was read at this visit."""
        tested: dict[str, list[datetime]] = {}
        for reading in self.readings:
            tested.setdefault(reading.parameter, []).append(reading.taken_at)
        return tests_of_the_set(self.visit.spa, tested, self.now)

    @property
    def missing(self) -> list[str]:
        read = {reading.parameter for reading in self.readings}
        return [name for name in self.key_parameters if name not in read]

    @property
    def tested_at(self) -> datetime | None:
        key = [reading.taken_at for reading in self.readings if reading.parameter in self.key_parameters]
        return min(key, default=None)

    def at(self, moment: datetime) -> str:
        return say(moment, now=self.now, zone=self.zone)


def standing_verdict(visit: Visit, now: datetime, person: Person | None = None) -> VerdictAtSign:
    """The verdict that the visit's readings, doses and inspection carry at ``now``.

    person  Who would sign: what they typed and did not save blocks the signature.

    Needs ``spa.site.client``, ``spa.organisation`` and ``organisation`` loaded with the visit. Seven
    queries, or two when its parts are loaded as well (``whole``), one more with a person.
    """
    return verdict_of(look_at(visit, now), unsaved_sections(visit, person) if person else ())


def verdict_of(case: Case, unsaved: Iterable[str] = ()) -> VerdictAtSign:
    """The verdict of a case. unsaved: sections in which who would sign typed something and did not save."""
    blocks = _blocks(case, unsaved)
    needs = _needs(case)
    against = _against(case)
    remarks = [remark for reading in case.readings if (remark := instrument_remark(reading))]
    if not needs and not against:
        return _fit(case, remarks, blocks)
    return VerdictAtSign(
        Verdict.CLOSED_UNTIL_RETEST, None, None, case.tested_at, [*against, *remarks], needs, blocks
    )


def _blocks(case: Case, unsaved: Iterable[str]) -> list[str]:
    blocks = [] if case.visit.state == VisitState.ON_SITE else ["Start the visit first."]
    blocks += [f"Save or drop what you typed under {section.capitalize()}." for section in unsaved]
    return blocks


def look_at(visit: Visit, now: datetime) -> Case:
    """Gather what the verdict rests on."""
    return case_of(visit, now, closure=open_closure(visit.spa))


def case_of(visit: Visit, now: datetime, *, closure: Closure | None) -> Case:
    """``look_at`` where the closure that stands is loaded already."""
    gathered(visit)
    changes, drained = done_changes(visit), drained_at(visit)
    changed_at = last_change(visit)
    measured = _measured_after(visit, changed_at)
    moment = _moment(visit, changed_at, changes, drained, measured=measured)
    readings = readings_at(visit, moment)
    decision = standing_decision(visit, moment)
    return Case(
        visit=visit,
        now=now,
        zone=zone_of(visit.organisation),
        changes=changes,
        drained=drained,
        changed_at=changed_at,
        steps=list(visit.steps.all()),
        moment=moment,
        readings=readings,
        judgement=judge_readings(visit, readings),
        decision=decision,
        current=decision is not None and is_current(decision, visit),
        closure=closure,
        dangers=open_dangers(visit.spa),
        answers={line.item: line.answer for line in visit.inspection.all()},
    )


def _measured_after(visit: Visit, changed_at: datetime | None) -> bool:
    after = [reading for reading in visit.readings.all() if reading.moment == Moment.AFTER]
    return any(reading.governs and (not changed_at or reading.taken_at > changed_at) for reading in after)


def _moment(
    visit: Visit,
    changed_at: datetime | None,
    changes: Sequence[TreatmentStep],
    drained: datetime | None,
    *,
    measured: bool,
) -> str:
    """After, once it was read again; before, while only doses that cannot push anything out were given."""
    if measured:
        return Moment.AFTER
    if changed_at is None:
        return Moment.BEFORE
    replaced = drained is not None or any(step.action == "replace_water" for step in changes)
    return Moment.AFTER if replaced else Moment.BEFORE


def _needs(case: Case) -> list[str]:
    """What somebody could still do at the spa for a better verdict."""
    needs = [f"Look: {BY_KEY[key].question}" for key in MUST_BE_ANSWERED if key not in case.answers]
    if case.missing:
        needs.append(_test_words(case))
    elif not case.current:
        needs.append(
            "Ask for the decision again: something changed since the last one."
            if case.decision
            else "Ask for the decision."
        )
    needs += [
        f"Step {step.order} is neither done nor skipped."
        for step in case.steps
        if _is_open(step) and not is_provisional(step, case.steps)
    ]
    needs += _waits(case)
    needs += _tests_not_made(case)
    if case.closure and (words := _closure_needs(case, case.closure)):
        needs.append(words)
    return needs


def _is_open(step: TreatmentStep) -> bool:
    """Something for today that was neither done nor skipped."""
    for_today = step.action in CHANGES_WATER and step.planned.get("when") != "later"
    return for_today and step.state == StepState.PLANNED


def _test_words(case: Case) -> str:
    names = " and ".join(_label(name) for name in case.missing)
    if case.changed_at is None:
        return f"Test {names}."
    return f"Test {names} again: something was added at {case.at(case.changed_at)}."


def _label(parameter: str) -> str:
    label = BY_PARAMETER[parameter].label
    return label if parameter == "ph" else label.lower()


def _waits(case: Case) -> list[str]:
    """Readings taken before a dose had its time to mix are no readings of the water."""
    if case.moment != Moment.AFTER or case.tested_at is None:
        return []
    mixed = latest(step.wait_until for step in case.changes)
    if mixed is None or case.tested_at >= mixed:
        return []
    return [f"Test again after {case.at(mixed)}: the last dose had not had its time to mix."]


def _tests_not_made(case: Case) -> list[str]:
    due = key_test(case.visit.spa, case.tests) if not case.missing else None
    if due is None or due.at > case.now:
        return []
    names = " and ".join(_label(name) for name in due.parameters if name in BY_PARAMETER)
    return [f"Test {names}: {due.sum.lower()} ({due.citation.short})."]


def _closure_needs(case: Case, closure: Closure) -> str:
    """What keeps a closed spa from being reopened by this visit; "" when nothing does."""
    if case.tested_at is None or case.tested_at <= closure.renewed_at:
        since = case.at(closure.renewed_at)
        return f"The spa was closed at {since}. Only a test made after that can reopen it: test again."
    if case.changed_at is not None and case.moment == Moment.BEFORE:
        return "The spa is closed: it reopens by a test after the last dose."
    rests_on = {finding.get("parameter") for finding in closure.findings}
    unseen = [key for key in rests_on & BY_KEY.keys() if case.answers.get(str(key)) != Answer.YES]
    if unseen:
        return f"The closure rests on the inspection. Look: {BY_KEY[str(sorted(unseen)[0])].question}"
    return ""


def _against(case: Case) -> list[str]:
    """What speaks against letting people in, whatever else is done on paper."""
    against = [finding["message"] for finding in case.judgement.blocking]
    if case.judgement.problem:
        against.append(case.judgement.problem)
    if case.decision and case.current and not against and not case.decision.response["fit_for_use"]:
        against += [str(item.get("reason", "")) for item in case.decision.response["unmet"]]
        against = against or ["The decision does not call the water fit for use."]
    against += [
        f"Open defect: {defect.description}"
        for defect in case.dangers
        if case.answers.get(defect.item) != Answer.YES
    ]
    if not against and not case.missing and case.changed_at and case.moment == Moment.BEFORE:
        against += _unmeasured(case)
    return against


def _unmeasured(case: Case) -> list[str]:
    """Something was added and nothing read since: what keeps it from being fit from a time."""
    assert case.changed_at is not None
    again = f"Nothing was read since {case.at(case.changed_at)}."
    if case.decision is None or case.decision.response["verdict"] not in ENGINE_FIT:
        return [f"{again} The water has to be tested before anyone enters."]
    if words := may_push_out(case.decision, case.steps):
        return [f"{again} {words}"]
    return []


def _fit(case: Case, remarks: list[str], blocks: list[str]) -> VerdictAtSign:
    due = key_test(case.visit.spa, case.tests)
    assert due is not None
    clear = free_for_bathing(case.visit.spa, case.changes)
    why = [_grounds(case)]
    waiting = clear is not None and clear.at > case.now
    unmeasured = case.changed_at is not None and case.moment == Moment.BEFORE
    if clear and (waiting or unmeasured):
        why.append(f"Nobody enters before {case.at(clear.at)}: {clear.why}.")
    ends = due.at
    if clear and ends <= clear.at:
        words = f"The next test is due at {case.at(ends)}, before the wait is over: test again."
        return VerdictAtSign(
            Verdict.CLOSED_UNTIL_RETEST, None, None, case.tested_at, [words, *remarks], [words], blocks
        )
    verdict = Verdict.FIT_FROM if clear and (waiting or unmeasured) else Verdict.FIT_NOW
    fit_from = clear.at if clear and verdict == Verdict.FIT_FROM else None
    why.append(f"Next test due at {case.at(ends)}: {due.sum} ({due.citation.short}).")
    why += _left_out(case)
    return VerdictAtSign(verdict, fit_from, ends, case.tested_at, [*why, *remarks], [], blocks)


def _left_out(case: Case) -> list[str]:
    """What was not looked at, and what the same clause wants tested and was not."""
    unseen = [BY_KEY[key].question for key, answer in case.answers.items() if answer == Answer.NOT_LOOKED]
    untested = [
        f"Not tested: {' and '.join(_label(name) for name in test.parameters if name in BY_PARAMETER)}"
        f" ({test.citation.short})."
        for test in not_made(case.visit.spa, case.tests)
        if any(name in BY_PARAMETER for name in test.parameters)
    ]
    return [f"Not looked at: {question}" for question in unseen] + untested


def _grounds(case: Case) -> str:
    assert case.tested_at is not None
    tested = case.at(case.tested_at)
    if case.changed_at is None:
        return f"Tested at {tested}: everything that closes the spa is inside, and nothing was added."
    if case.moment == Moment.AFTER:
        return f"Tested at {tested}, after the last dose: everything that closes the spa is inside."
    return (
        f"Tested at {tested}, before dosing: everything that closes the spa was inside, "
        "and nothing that was added can push it out."
    )
