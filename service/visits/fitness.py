"""Whether people may use a spa, as of a time. Fitness belongs to a time and lapses by itself.

A verdict holds until the next test is due (``Visit.holds_until``), until a change of guests, or
until the spa is closed. While somebody is at work on the water it is closed, and after readings or
doses without a signature it stays so.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import DateTimeField, Exists, OuterRef, QuerySet, Subquery, Value

from service.sites.models import Spa
from service.visits.clock import day_of, moment_of, say, zone_of
from service.visits.models import (
    Answer,
    Closure,
    InspectionAnswer,
    Reading,
    StepState,
    TreatmentStep,
    Verdict,
    Visit,
    VisitState,
)

KEEP_OUT = "Do not let people in."
# A changeover further back than this has long been followed by a lapse of the test itself.
CHANGEOVERS_BACK_DAYS = 31
CHANGEOVERS_AHEAD_DAYS = 14
_NOT_A_CHANGEOVER = (VisitState.SIGNED, VisitState.CANCELLED, VisitState.HANDED_OVER)
_WORK, _LAST, _CHANGEOVER = "work", "last", "changeover"
_NO_TIME = Value(None, output_field=DateTimeField())


@dataclass(frozen=True)
class Fitness:
    """What may be said of a spa at a time.

    state     "fit", "fit_from" (closed until a time, then fit), "closed", "retest" (closed until a
              named person retests) or "not_tested". Only "fit" lets people in.
    word      What stands after the shape: "Fit for use", "Closed until 14:30", "Not tested since …".
    shape     "●", "■", "▲" or "○".
    since     Since when: the test, the closure; None for a spa that was never tested.
    until     Until when it holds, or when it becomes fit, or when the retest is due; None: open.
    sentence  The whole of it for a person.
    """

    state: str
    word: str
    shape: str
    since: datetime | None
    until: datetime | None
    sentence: str

    @property
    def lets_people_in(self) -> bool:
        return self.state == "fit"


@dataclass
class _Facts:
    """What is known of one spa."""

    last: Visit | None = None
    closure: Closure | None = None
    work: Visit | None = None
    worked_at: datetime | None = None
    changeovers: list[datetime] = field(default_factory=list)


def fitness_of(spa: Spa, now: datetime) -> Fitness:
    """The fitness of one spa at ``now``."""
    return fitness_of_spas([spa], now)[spa.pk]


def fitness_of_spas(spas: Iterable[Spa], now: datetime) -> dict[UUID, Fitness]:
    """The fitness of several spas of one firm at ``now``, by key; two queries, whatever their number.

    One more when the organisation is not loaded with the first spa.
    """
    listed = list(spas)
    return fitness_with(listed, open_closures(listed), now)


def open_closures(spas: Iterable[Spa]) -> dict[UUID, Closure]:
    """The closure that stands at each of the spas that are closed, by the spa's key; one query."""
    standing = Closure.objects.filter(spa__in=[spa.pk for spa in spas], reopened_at=None)
    return {closure.spa_id: closure for closure in standing}


def fitness_with(spas: Iterable[Spa], closures: Mapping[UUID, Closure], now: datetime) -> dict[UUID, Fitness]:
    """``fitness_of_spas`` where the closures that stand are loaded already; one query."""
    listed = list(spas)
    if not listed:
        return {}
    zone = zone_of(listed[0].organisation)
    facts = _facts([spa.pk for spa in listed], now, zone)
    for key, known in facts.items():
        known.closure = closures.get(key)
    return {spa.pk: _fitness(facts[spa.pk], now, zone) for spa in listed}


def _facts(keys: Sequence[UUID], now: datetime, zone: ZoneInfo) -> Mapping[UUID, _Facts]:
    """What the visits tell; three questions in one statement, each with its own index."""
    facts = {key: _Facts() for key in keys}
    # The first of a union gives the columns their types, and only it knows all of them.
    told = _at_work(keys).union(_last_signed(keys), _changeovers(keys, now, zone), all=True)
    by_question: dict[str, list[Visit]] = {_WORK: [], _LAST: [], _CHANGEOVER: []}
    for visit in told:
        by_question[visit.question].append(visit)  # type: ignore[attr-defined]
    for visit in by_question[_LAST]:
        facts[visit.spa_id].last = visit
    for visit in by_question[_WORK]:
        _keep_newest_work(facts[visit.spa_id], visit)
    for visit in by_question[_CHANGEOVER]:
        moment = moment_of(visit.planned_on, visit.window_from, zone)
        facts[visit.spa_id].changeovers.append(moment)
    return facts


def _as_answer(visits: QuerySet[Visit], question: str, **work: Any) -> QuerySet[Visit]:
    """The visits as one part of the union: the same columns in each, and which question it answers."""
    none = {"read_at": _NO_TIME, "added_at": _NO_TIME, "is_wrong": Value(False)}
    return visits.order_by().annotate(question=Value(question), **(none | work))


def _last_signed(keys: Sequence[UUID]) -> QuerySet[Visit]:
    signed = Visit.objects.filter(spa=OuterRef("pk"), state=VisitState.SIGNED).order_by("-ended_at")
    newest = Spa.objects.filter(pk__in=keys).annotate(last=Subquery(signed.values("pk")[:1]))
    return _as_answer(Visit.objects.filter(pk__in=newest.values("last")), _LAST)


def _at_work(keys: Sequence[UUID]) -> QuerySet[Visit]:
    """Visits begun and not ended at which something was read, found wrong or added."""
    visit = OuterRef("pk")
    read = Reading.objects.filter(visit=visit).order_by("-taken_at").values("taken_at")[:1]
    added = TreatmentStep.objects.filter(visit=visit, state=StepState.DONE).order_by("-done_at")
    wrong = InspectionAnswer.objects.filter(visit=visit, answer=Answer.NO)
    begun = Visit.objects.filter(spa__in=keys, state__in=(VisitState.ON_SITE, VisitState.PART_DONE))
    return _as_answer(
        begun,
        _WORK,
        read_at=Subquery(read),
        added_at=Subquery(added.values("done_at")[:1]),
        is_wrong=Exists(wrong),
    )


def _keep_newest_work(facts: _Facts, visit: Visit) -> None:
    """Work counts unless a visit was signed after it; of several, the newest."""
    moments = [visit.read_at, visit.added_at, visit.started_at if visit.is_wrong else None]  # type: ignore[attr-defined]
    worked_at = max((moment for moment in moments if moment), default=None)
    signed_at = facts.last.ended_at if facts.last else None
    if worked_at is None or (signed_at and worked_at <= signed_at):
        return
    if facts.worked_at is None or worked_at > facts.worked_at:
        facts.work, facts.worked_at = visit, worked_at


def _changeovers(keys: Sequence[UUID], now: datetime, zone: ZoneInfo) -> QuerySet[Visit]:
    """Changeovers that no signed visit has answered yet, around today."""
    today = day_of(now, zone)
    changeovers = Visit.objects.filter(
        spa__in=keys,
        changeover=True,
        planned_on__gte=today - timedelta(CHANGEOVERS_BACK_DAYS),
        planned_on__lte=today + timedelta(CHANGEOVERS_AHEAD_DAYS),
    ).exclude(state__in=_NOT_A_CHANGEOVER)
    return _as_answer(changeovers, _CHANGEOVER)


def _fitness(facts: _Facts, now: datetime, zone: ZoneInfo) -> Fitness:
    if facts.closure:
        return _closed(facts.closure, facts.last, now, zone)
    if facts.work:
        return _being_worked_on(facts.work, now, zone)
    if facts.last is None:
        return Fitness("not_tested", "Not tested", "○", None, None, f"Not tested. {KEEP_OUT}")
    return _standing(facts.last, facts.changeovers, now, zone)


def _closed(closure: Closure, last: Visit | None, now: datetime, zone: ZoneInfo) -> Fitness:
    since, reason = closure.closed_at, closure.reason.rstrip(".")
    began = f"{KEEP_OUT} Closed since {say(since, now=now, zone=zone)}: {reason}."
    due = _retest_due(closure, last)
    if due is None:
        return Fitness("closed", "Closed", "■", since, None, f"{began} It reopens by a reading.")
    late = ", overdue" if due < now else ""
    words = f"{began} Retest due {say(due, now=now, zone=zone)}{late}."
    return Fitness("retest", "Retest", "▲", since, due, words)


def _retest_due(closure: Closure, last: Visit | None) -> datetime | None:
    """When the newest signed visit wants the retest; None when the closure rests on something newer."""
    if last is None or last.verdict != Verdict.CLOSED_UNTIL_RETEST or last.ended_at is None:
        return None
    return last.retest_due if last.ended_at >= closure.renewed_at else None


def _being_worked_on(visit: Visit, now: datetime, zone: ZoneInfo) -> Fitness:
    since = visit.started_at or visit.created_at
    began = say(since, now=now, zone=zone)
    sentence = f"{KEEP_OUT} Being worked on since {began}; closed until the visit is signed."
    return Fitness("closed", "Closed", "■", since, None, sentence)


def _standing(visit: Visit, changeovers: Sequence[datetime], now: datetime, zone: ZoneInfo) -> Fitness:
    since = visit.tested_at or visit.ended_at or visit.created_at
    if visit.verdict == Verdict.CLOSED_UNTIL_RETEST:
        words = f"{KEEP_OUT} Closed until a retest since {say(since, now=now, zone=zone)}."
        return Fitness("retest", "Retest", "▲", since, visit.retest_due, words)
    ends = [moment for moment in changeovers if moment > since]
    until = min([*ends, visit.holds_until or since])
    if now >= until:
        return _lapsed(since, now, zone)
    tested, due = say(since, now=now, zone=zone), say(until, now=now, zone=zone)
    if visit.verdict == Verdict.FIT_FROM and visit.fit_from and now < visit.fit_from:
        at = say(visit.fit_from, now=now, zone=zone)
        words = f"{KEEP_OUT} Closed until {at}, then fit for use; next test due {due}."
        return Fitness("fit_from", f"Closed until {at}", "■", since, visit.fit_from, words)
    return Fitness("fit", "Fit for use", "●", since, until, f"Fit since {tested}, next test due {due}.")


def _lapsed(since: datetime, now: datetime, zone: ZoneInfo) -> Fitness:
    word = f"Not tested since {say(since, now=now, zone=zone)}"
    return Fitness("not_tested", word, "○", since, None, f"{word}. {KEEP_OUT}")
