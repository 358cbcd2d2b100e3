"""What falls due at a spa besides the test of its water, by the guideline in force, else by custom."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Max, OuterRef, Subquery, Window
from django.db.models.functions import RowNumber
from django.utils import timezone

from service.chemistry.guidelines import Citation, Guideline
from service.chemistry.guidelines.clocks import Due, drain_due, filter_due, microbiology_due
from service.chemistry.guidelines.duties import Duties
from service.chemistry.guidelines.parameters import MICROBIOLOGY, PARAMETERS
from service.chemistry.guidelines.water_replacement import WaterUse, replacement_due
from service.sites.guideline import known
from service.sites.models import Client, ClientKind, Spa
from service.visits.clock import day_of, zone_of
from service.visits.models import Reading, Task, TaskKind, TaskState, Visit, VisitState

CUSTOM = "common practice, no source"
# How often where the set in force says nothing: common practice, no source.
CUSTOMARY_DAYS: Mapping[str, int] = {
    TaskKind.FILTER_RINSE: 7,
    TaskKind.FILTER_SOAK: 30,
    TaskKind.DRAIN_REFILL: 90,
    TaskKind.COVER: 30,
}
CLEANS_FILTER = (TaskKind.FILTER_RINSE, TaskKind.FILTER_SOAK, TaskKind.FILTER_SWAP)
CHANGEOVERS_BACK = 60
_SOLIDS = "total_dissolved_solids_mg_l"


@dataclass(frozen=True)
class DueJob:
    """A job that is due on a day, why, and who says so. mark: how far the source was checked."""

    kind: str
    why: str
    source: str
    mark: str
    on: date


@dataclass(frozen=True)
class SpaPast:
    """What was last done at a spa: days by kind of task and by laboratory parameter."""

    done: Mapping[str, date]
    read: Mapping[str, date]
    solids: float | None
    changeovers: Sequence[date]
    since: date

    def last(self, *kinds: str) -> date | None:
        return max((day for kind in kinds if (day := self.done.get(kind))), default=None)


def due_jobs(spa: Spa, today: date) -> list[DueJob]:
    """Jobs due at the spa on ``today``; see ``due_jobs_of``."""
    return due_jobs_of([spa], today)[spa.pk]


def due_jobs_of(spas: Iterable[Spa], today: date) -> dict[UUID, list[DueJob]]:
    """Jobs due at each spa on ``today``, by its key, at most one a kind.

    One query, or up to four if a set asks more, whatever the number of spas. Needs ``site.client``
    and ``organisation`` loaded. A set that is not known or not for this spa asks for nothing: then
    custom speaks.
    """
    sets = {spa: guideline_of(spa) for spa in spas}
    pasts = _pasts(sets, today)
    return {spa.pk: _jobs(spa, pasts[spa.pk], guideline, today) for spa, guideline in sets.items()}


def _jobs(spa: Spa, past: SpaPast, guideline: Guideline | None, today: date) -> list[DueJob]:
    stated = stated_jobs(spa, past, guideline, today)
    jobs = [*stated, *_by_custom(past, {job.kind for job in stated}, guideline)]
    return [job for job in jobs if job.on <= today]


def guideline_of(spa: Spa) -> Guideline | None:
    """The set in force at a spa; None when it is not known or not for this spa."""
    return known(spa.guideline_in_force())


def stated_jobs(spa: Spa, past: SpaPast, guideline: Guideline | None, today: date) -> list[DueJob]:
    """What the set states, due or still to come, at most one job a kind. Asks the database nothing."""
    if guideline is None:
        return []
    return [
        *_drain(spa, past, guideline, today),
        *_filter(past, guideline),
        *_samples(past, guideline, today),
    ]


def facility_of(client: Client) -> str:
    """How guideline sets call this kind of place: a hotel or a gym is "commercial", else "let"."""
    return "commercial" if client.kind in (ClientKind.HOTEL, ClientKind.GYM) else "let"


def _pasts(sets: Mapping[Spa, Guideline | None], today: date) -> dict[UUID, SpaPast]:
    """What was last done at each spa, so far as its set asks for it."""
    duties = {spa.pk: guideline.duties if guideline else Duties() for spa, guideline in sets.items()}
    zones = {spa.pk: zone_of(spa.organisation) for spa in sets}
    done = _last_done(zones)
    sampled = _sampled(
        {key: zone for key, zone in zones.items() if duties[key].microbiology_intervals},
    )
    solids = _last_solids([key for key, asked in duties.items() if asked.water_replacement])
    changeovers = _changeover_days([key for key, asked in duties.items() if _asks_groups(asked)], today)
    return {
        spa.pk: SpaPast(
            done=done.get(spa.pk, {}),
            read=sampled.get(spa.pk, {}),
            solids=solids.get(spa.pk),
            changeovers=changeovers.get(spa.pk, []),
            since=spa.commissioned_on or today,
        )
        for spa in sets
    }


def _asks_groups(duties: Duties) -> bool:
    drains, filters = duties.drain_interval, duties.filter_cleaning
    return any(rule.between_groups for rule in drains) or any(rule.between_groups for rule in filters)


def _last_done(zones: Mapping[UUID, ZoneInfo]) -> dict[UUID, dict[str, date]]:
    tasks = Task.objects.filter(visit__spa__in=zones, state=TaskState.DONE).order_by()
    return _days(tasks.values_list("visit__spa", "kind").annotate(last=Max("done_at")), zones)


def _sampled(zones: Mapping[UUID, ZoneInfo]) -> dict[UUID, dict[str, date]]:
    if not zones:
        return {}
    readings = Reading.objects.filter(visit__spa__in=zones, parameter__in=MICROBIOLOGY).order_by()
    return _days(readings.values_list("visit__spa", "parameter").annotate(last=Max("taken_at")), zones)


def _days(
    rows: Iterable[tuple[UUID, str, datetime]], zones: Mapping[UUID, ZoneInfo]
) -> dict[UUID, dict[str, date]]:
    days: dict[UUID, dict[str, date]] = {}
    for spa, name, moment in rows:
        days.setdefault(spa, {})[name] = day_of(moment, zones[spa])
    return days


def _last_solids(spas: Sequence[UUID]) -> dict[UUID, float]:
    if not spas:
        return {}
    readings = Reading.objects.filter(visit__spa=OuterRef("pk"), parameter=_SOLIDS, governs=True)
    newest = Subquery(readings.order_by("-taken_at", "-id").values("value")[:1])
    rows = Spa.objects.filter(pk__in=spas).order_by().annotate(solids=newest).values_list("pk", "solids")
    return {spa: float(value) for spa, value in rows if value is not None}


def _changeover_days(spas: Sequence[UUID], today: date) -> dict[UUID, list[date]]:
    """The last days of changeover at each spa, newest first."""
    if not spas:
        return {}
    changed = Visit.objects.filter(spa__in=spas, changeover=True, planned_on__lte=today).exclude(
        state__in=(VisitState.CANCELLED, VisitState.HANDED_OVER)
    )
    place = Window(RowNumber(), partition_by=["spa"], order_by="-planned_on")
    newest = changed.annotate(place=place).filter(place__lte=CHANGEOVERS_BACK).order_by("-planned_on")
    days: dict[UUID, list[date]] = {}
    for spa, day in newest.values_list("spa", "planned_on"):
        days.setdefault(spa, []).append(day)
    return days


def _drain(spa: Spa, past: SpaPast, guideline: Guideline | None, today: date) -> list[DueJob]:
    drained = past.last(TaskKind.DRAIN_REFILL)
    if guideline is None or not (guideline.duties.drain_interval or guideline.duties.water_replacement):
        return []
    facility = facility_of(spa.site.client)
    start = drained or past.since
    due = drain_due(guideline, drained_on=start, changeovers=past.changeovers, facility=facility)
    jobs = [_job(TaskKind.DRAIN_REFILL, due, drained, past.since)] if due and due.on else []
    use = WaterUse(
        volume_l=spa.volume_l,
        days=max((today - start).days, 0),
        bathers=(None,) * max((today - start).days, 0),
        total_dissolved_solids_mg_l=past.solids,
        fill_total_dissolved_solids_mg_l=_number(spa.site.supply_water.get(_SOLIDS)),
    )
    jobs += [
        DueJob(
            TaskKind.DRAIN_REFILL,
            f"{rule.rule}: {rule.count.sum}.",
            rule.citation.source,
            rule.citation.mark,
            today,
        )
        for rule in replacement_due(guideline, use, facility=facility)
        if rule.count.drain
    ]
    return sorted(jobs, key=lambda job: job.on)[:1]


def _filter(past: SpaPast, guideline: Guideline | None) -> list[DueJob]:
    if guideline is None or not guideline.duties.filter_cleaning:
        return []
    cleaned = past.last(*CLEANS_FILTER)
    drained = past.last(TaskKind.DRAIN_REFILL)
    due = filter_due(
        guideline, cleaned_on=cleaned or past.since, drained_on=drained, changeovers=past.changeovers
    )
    if due is None or due.on is None:
        return []
    return [_job(TaskKind.FILTER_RINSE, due, cleaned, past.since)]


def _samples(past: SpaPast, guideline: Guideline, today: date) -> list[DueJob]:
    taken = past.last(TaskKind.LAB_SAMPLE)
    sampled = {
        name: max((day for day in (past.read.get(name), taken) if day), default=None) for name in MICROBIOLOGY
    }
    due = [item for item in microbiology_due(guideline, sampled, today=today) if item.on and item.on <= today]
    if not due:
        return []
    names = ", ".join(dict.fromkeys(PARAMETERS[item.duty].label for item in due))
    sources = "; ".join(dict.fromkeys(item.citation.source for item in due))
    day = min(item.on for item in due if item.on)
    return [DueJob(TaskKind.LAB_SAMPLE, f"{names}: {due[0].sum}.", sources, due[0].citation.mark, day)]


def _by_custom(past: SpaPast, named: set[str], guideline: Guideline | None) -> list[DueJob]:
    stated = set(named)
    if guideline and guideline.duties.filter_cleaning:
        stated |= set(CLEANS_FILTER)
    if guideline and guideline.duties.drain_interval:
        stated.add(TaskKind.DRAIN_REFILL)
    return [_customary(kind, days, past) for kind, days in CUSTOMARY_DAYS.items() if kind not in stated]


def _customary(kind: str, days: int, past: SpaPast) -> DueJob:
    cleaned = CLEANS_FILTER[1:] if kind == TaskKind.FILTER_SOAK else CLEANS_FILTER
    last = past.last(*(cleaned if kind in CLEANS_FILTER else (kind,)))
    on = (last or past.since) + timedelta(days=days)
    if last is None:
        return DueJob(kind, f"Not on record yet; usual every {days} days.", CUSTOM, "", past.since)
    return DueJob(kind, f"Last {_said(last)}; usual every {days} days.", CUSTOM, "", on)


def _job(kind: str, due: Due, last: date | None, since: date) -> DueJob:
    citation: Citation = due.citation
    assert due.on is not None
    if last is None:
        return DueJob(kind, "Not on record yet.", citation.source, citation.mark, since)
    return DueJob(kind, f"Last {_said(last)}; due {_said(due.on)}.", citation.source, citation.mark, due.on)


def _said(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def today_at(spa: Spa) -> date:
    """Today where the spa stands."""
    return day_of(timezone.now(), zone_of(spa.organisation))
