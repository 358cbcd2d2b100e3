"""Duties of the guideline that are past their day, for all spas of a firm at once.

The same rules as at a visit (``due``), fed by at most four queries whatever the number of spas.
Custom is left out: only what a document states can be overdue.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Max

from service.chemistry.guidelines import Guideline
from service.chemistry.guidelines.duties import Duties
from service.chemistry.guidelines.parameters import MICROBIOLOGY
from service.sites.models import Spa
from service.visits.clock import day_of, zone_of
from service.visits.due import CLEANS_FILTER, DueJob, SpaPast, guideline_of, stated_jobs
from service.visits.models import Reading, Task, TaskKind, TaskState, Visit, VisitState

KINDS = (TaskKind.DRAIN_REFILL, *CLEANS_FILTER, TaskKind.LAB_SAMPLE)
# A change of guests, or a reading of solids, further back than this says nothing new: by then a drain
# that it asked for is overdue by a later one too. Own choice, no source.
LOOK_BACK_DAYS = 60
_SOLIDS = "total_dissolved_solids_mg_l"


@dataclass
class _Pasts:
    """What is known of many spas, by their key."""

    done: dict[UUID, dict[str, date]] = field(default_factory=lambda: defaultdict(dict))
    read: dict[UUID, dict[str, date]] = field(default_factory=lambda: defaultdict(dict))
    solids: dict[UUID, float] = field(default_factory=dict)
    changeovers: dict[UUID, list[date]] = field(default_factory=lambda: defaultdict(list))


def overdue_jobs(spas: Iterable[Spa], today: date) -> dict[UUID, list[DueJob]]:
    """Jobs that the guideline of each spa wanted done before ``today``; spas without any are left out.

    All spas of one firm, ``site__client`` and ``organisation`` loaded.
    """
    listed = list(spas)
    if not listed:
        return {}
    guidelines = _guidelines(listed)
    pasts = _pasts(
        {one.id: one for one in guidelines.values()}.values(), today, zone_of(listed[0].organisation)
    )
    overdue = {}
    for spa in listed:
        if guideline := guidelines.get(spa.pk):
            jobs = stated_jobs(spa, _past(spa, pasts, today), guideline, today)
            overdue[spa.pk] = [job for job in jobs if job.on < today]
    return {key: jobs for key, jobs in overdue.items() if jobs}


def _guidelines(spas: Iterable[Spa]) -> dict[UUID, Guideline]:
    known: dict[str, Guideline | None] = {}
    for spa in spas:
        if spa.guideline_in_force() not in known:
            known[spa.guideline_in_force()] = guideline_of(spa)
    return {spa.pk: found for spa in spas if (found := known[spa.guideline_in_force()])}


def _past(spa: Spa, pasts: _Pasts, today: date) -> SpaPast:
    return SpaPast(
        done=pasts.done.get(spa.pk, {}),
        read=pasts.read.get(spa.pk, {}),
        solids=pasts.solids.get(spa.pk),
        changeovers=pasts.changeovers.get(spa.pk, []),
        since=spa.commissioned_on or today,
    )


def _pasts(guidelines: Iterable[Guideline], today: date, zone: ZoneInfo) -> _Pasts:
    """Asks only for what some set in use speaks of."""
    duties = [guideline.duties for guideline in guidelines]
    pasts = _Pasts()
    if any(d.drain_interval or d.filter_cleaning or d.microbiology_intervals for d in duties):
        _note_tasks(pasts, zone)
    if any(d.microbiology_intervals for d in duties):
        _note_samples(pasts, zone)
    if any(d.water_replacement for d in duties):
        _note_solids(pasts, today, zone)
    if any(_asks_for_groups(d) for d in duties):
        _note_changeovers(pasts, today)
    return pasts


def _asks_for_groups(duties: Duties) -> bool:
    drains, filters = duties.drain_interval, duties.filter_cleaning
    return any(rule.between_groups for rule in drains) or any(rule.between_groups for rule in filters)


def _note_tasks(pasts: _Pasts, zone: ZoneInfo) -> None:
    done = Task.objects.filter(state=TaskState.DONE, kind__in=KINDS).order_by()
    for spa, kind, last in done.values_list("visit__spa", "kind").annotate(last=Max("done_at")):
        pasts.done[spa][kind] = day_of(last, zone)


def _note_samples(pasts: _Pasts, zone: ZoneInfo) -> None:
    readings = Reading.objects.filter(parameter__in=MICROBIOLOGY).order_by()
    for spa, name, last in readings.values_list("visit__spa", "parameter").annotate(last=Max("taken_at")):
        pasts.read[spa][name] = day_of(last, zone)


def _note_solids(pasts: _Pasts, today: date, zone: ZoneInfo) -> None:
    since = today - timedelta(days=LOOK_BACK_DAYS)
    start = datetime.combine(since, time.min, zone)
    readings = Reading.objects.filter(parameter=_SOLIDS, governs=True, taken_at__gte=start)
    for spa, value in readings.order_by("taken_at").values_list("visit__spa", "value"):
        pasts.solids[spa] = float(value)


def _note_changeovers(pasts: _Pasts, today: date) -> None:
    since = today - timedelta(days=LOOK_BACK_DAYS)
    changed = Visit.objects.filter(changeover=True, planned_on__gte=since, planned_on__lte=today)
    changed = changed.exclude(state__in=(VisitState.CANCELLED, VisitState.HANDED_OVER))
    for spa, day in changed.order_by("-planned_on").values_list("spa", "planned_on"):
        pasts.changeovers[spa].append(day)
