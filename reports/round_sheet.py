"""The sheet that goes into the van: one person's stops of one day, in driving order. No access codes."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from uuid import UUID

from reportlab.platypus import Flowable

from reports.paper.page import About, Pdf, write_pdf
from reports.paper.pieces import facts, gap, table, title, words
from service.rounds.models import PlannedRound, PlannedVisit
from service.shell.clock import local_day, local_time
from service.sites.models import Site
from service.visits.due import CUSTOM, DueJob, due_jobs_of
from service.visits.models import TaskKind

# Widths as parts of the text's: when, where, what.
_PARTS = (0.16, 0.42, 0.42)
MASK = "(code: in the app)"


@dataclass(frozen=True)
class _Stop:
    """The visits of a round at one site, one after the other."""

    site: Site
    visits: Sequence[PlannedVisit]


def round_sheet_pdf(item: PlannedRound) -> Pdf:
    """The sheet of one round. Needs ``plan.organisation`` and ``technician`` loaded."""
    about = _about(item)
    stops = list(_stops(item))
    jobs = due_jobs_of([visit.spa for stop in stops for visit in stop.visits], item.day)
    width = about.text_width
    story: list[Flowable] = [
        *title(f"{item.technician.name}, {_day(item)}"),
        facts(list(_facts(item, stops)), width),
        gap(3),
        table(
            ("When", "Where", "What is due"),
            [_row(item, number, stop, jobs) for number, stop in enumerate(stops, start=1)],
            [width * part for part in _PARTS],
        ),
        gap(3),
        words(_way_back(item)),
        *_honesty(item),
        words(f"By custom: {CUSTOM}.", "soft"),
    ]
    return write_pdf(story, about)


def _about(item: PlannedRound) -> About:
    firm = item.plan.organisation
    what = f"Round of {item.technician.name}, {_day(item)}"
    return About(
        title=what,
        subject="Round sheet",
        author=firm.name,
        head=f"{what} · {firm.name}",
        foot=f"{firm.name}. {'Plan' if item.plan.is_published else 'Draft plan'} of the week, as of "
        f"{local_day(item.plan.published_at or item.plan.created_at, firm.time_zone)}.",
        stamped=item.plan.published_at or item.plan.created_at,
        us_paper=firm.us_units,
    )


def _stops(item: PlannedRound) -> Iterator[_Stop]:
    rows = item.stops.select_related("spa__site__client", "spa__organisation").order_by("sequence")
    for _, visits in groupby(rows, key=lambda row: row.spa.site_id):
        together = list(visits)
        yield _Stop(together[0].spa.site, together)


def _facts(item: PlannedRound, stops: Sequence[_Stop]) -> Iterator[tuple[str, str]]:
    zone = item.plan.organisation.time_zone
    visits = [visit for stop in stops for visit in stop.visits]
    driving = sum(visit.drive_seconds for visit in visits) + item.back_drive_seconds
    metres = sum(visit.drive_metres for visit in visits) + item.back_drive_metres
    yield "Leave", f"{local_time(item.depart_at, zone)}{_from(item.start_name)}"
    yield "Back", f"{local_time(item.back_at, zone)}{_from(item.end_name, 'at')}"
    yield "Stops and spas", f"{_so_many(len(stops), 'stop')}, {_so_many(len(visits), 'spa')}"
    yield "Driving", f"{round(driving / 60)} min, {metres / 1000:.1f} km"
    if item.pause_from and item.pause_to:
        yield "Break", f"{local_time(item.pause_from, zone)}–{local_time(item.pause_to, zone)}"
    if item.overtime_seconds:
        yield "Overtime", f"{-(-item.overtime_seconds // 60)} min"


def _so_many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _from(name: str, word: str = "from") -> str:
    return f", {word} {name}" if name else ""


def _row(
    item: PlannedRound, number: int, stop: _Stop, jobs: Mapping[UUID, Sequence[DueJob]]
) -> list[list[Flowable]]:
    zone = item.plan.organisation.time_zone
    first, last = stop.visits[0], stop.visits[-1]
    assert first.start_at is not None
    assert last.leave_at is not None
    when = [
        words(f"{number}. {local_time(first.start_at, zone)}", "figure"),
        words(f"until {local_time(last.leave_at, zone)}", "cell soft"),
        words(f"{-(-first.drive_seconds // 60)} min, {first.drive_metres / 1000:.1f} km drive", "cell soft"),
    ]
    if window := _window(stop):
        when.append(words(window, "cell soft"))
    return [
        when,
        _where(stop.site),
        [part for visit in stop.visits for part in _what(visit, jobs[visit.spa_id])],
    ]


def _window(stop: _Stop) -> str:
    opens = max((v.window_from for v in stop.visits if v.window_from), default=None)
    closes = min((v.window_to for v in stop.visits if v.window_to), default=None)
    parts = [f"from {opens:%H:%M}" if opens else "", f"by {closes:%H:%M}" if closes else ""]
    said = " ".join(part for part in parts if part)
    return f"begin {said}" if said else ""


def _where(site: Site) -> list[Flowable]:
    parts = [words(site.name, "cell strong")]
    if site.address:
        parts.append(words(site.address, "cell"))
    for label, text in (
        ("At the gate", _without_code(site)),
        ("Parking", site.parking),
        ("Breaker", site.breaker),
        ("Tap", site.tap),
    ):
        if text:
            parts.append(words(f"{label}: {text}", "cell soft"))
    return parts


def _without_code(site: Site) -> str:
    """How to get in, without the code should somebody have written it there too: paper is lost easily."""
    notes, code = str(site.access_notes), str(site.access_code)
    return notes.replace(code, MASK) if code else notes


def _what(visit: PlannedVisit, jobs: Sequence[DueJob]) -> Iterator[Flowable]:
    """The spa and what is due there: what a guideline asks line by line, what is custom in one line."""
    kind = ", changeover between guests" if visit.changeover else ""
    yield words(f"{visit.spa.name}{kind}", "cell strong")
    yield words(f"{visit.service_minutes} min. {visit.why}", "cell")
    for job in jobs:
        if job.source != CUSTOM:
            mark = f", {job.mark}" if job.mark else ""
            yield words(f"{TaskKind(job.kind).label}: {job.why} ({job.source}{mark})", "cell soft")
    if customary := [_in_passing(job) for job in jobs if job.source == CUSTOM]:
        yield words(f"By custom: {'; '.join(customary)}.", "cell soft")


def _in_passing(job: DueJob) -> str:
    """A job and why it is due, as part of a sentence: "rinse the filter (last 3 Jun 2026, usual …)"."""
    label, why = TaskKind(job.kind).label, job.why.rstrip(".").replace("; ", ", ")
    return f"{label[:1].lower()}{label[1:]} ({why[:1].lower()}{why[1:]})"


def _way_back(item: PlannedRound) -> str:
    zone = item.plan.organisation.time_zone
    drive = f"{-(-item.back_drive_seconds // 60)} min, {item.back_drive_metres / 1000:.1f} km drive"
    return f"Then back{_from(item.end_name, 'to')}: {drive}, there at {local_time(item.back_at, zone)}."


def _honesty(item: PlannedRound) -> Iterator[Flowable]:
    plan = item.plan
    if plan.travel_honesty:
        yield words(f"Driving times: {plan.travel_honesty}.", "soft")
    if plan.travel_attribution:
        yield words(plan.travel_attribution, "soft")
    yield words("Access codes are not printed; the app shows them to whoever stops here, on the day.", "soft")


def _day(item: PlannedRound) -> str:
    return local_day(item.day, item.plan.organisation.time_zone)
