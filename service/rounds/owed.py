"""What the agreements owe in a week: which visits, on which sets of days, in which windows.

Nothing is planned here and nothing is written; what is left out is said in a note.
"""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from uuid import UUID

from accounts.models import Organisation, Person
from service.rounds.guideline_minimum import guideline_note
from service.rounds.models import Agreement
from service.rounds.notes import Note
from service.rounds.owed_facts import Facts, load_facts
from service.rounds.owed_spa import Promise, named, promises_of
from service.rounds.public_holidays import public_holidays
from service.rounds.roster import DAYS_IN_WEEK, refuse_other_days
from service.rounds.words import say_day
from service.sites.archive import why_not_in_use
from service.sites.models import Spa

__all__ = ["DayWindow", "Note", "Owed", "OwedWeek", "owed_in_week", "owed_in_weeks"]


@dataclass(frozen=True)
class DayWindow:
    """A visit may start from ``opens`` to ``closes``, local time; on every day when ``day`` is None."""

    day: date | None
    opens: time
    closes: time


@dataclass(frozen=True)
class Owed:
    """Visits to one spa that a week owes.

    key              The same whenever the week is built again.
    why              In words: "Twice a week", "Changeover on Saturday 12 June".
    needs            Names of skills.
    day_choices      Each a set of days; a visit on every day of one of them serves what is owed.
    windows          When a visit may start; empty: at any time. A day without one is closed.
    changeover_days  Days on which one group has left and the next has not come.
    optional         May be dropped, at ``agreement.drop_price``.
    """

    key: str
    spa: Spa
    agreement: Agreement | None
    why: str
    service_minutes: int
    needs: tuple[str, ...]
    day_choices: tuple[tuple[date, ...], ...]
    windows: tuple[DayWindow, ...]
    changeover_days: frozenset[date]
    preferred: Person | None
    not_with: tuple[Person, ...]
    optional: bool


@dataclass(frozen=True)
class OwedWeek:
    """What is owed from ``monday`` to the Sunday after, and what a person must know of it."""

    monday: date
    owed: list[Owed]
    notes: list[Note]


def owed_in_week(organisation: Organisation, monday: date) -> OwedWeek:
    """What the firm owes in the week of ``monday``, by site, spa and day; in a fixed number of queries.

    Visits that are signed, begun, or planned by hand and still to come count as served; what a plan has put
    on a day does not. Days that are over
    are no longer offered in the week that runs now; a week that is over is told as it was.

    Raises ValueError if ``monday`` is another day of the week.
    """
    return owed_in_weeks(organisation, monday, weeks=1)[0]


def owed_in_weeks(
    organisation: Organisation, monday: date, *, weeks: int, spas: Collection[UUID] | None = None
) -> list[OwedWeek]:
    """The same for some weeks on end, of all spas or of these (by key)."""
    refuse_other_days(monday)
    last = monday + timedelta(weeks * DAYS_IN_WEEK - 1)
    # A changeover of a week may be served in the next, so that one needs the days around.
    facts = load_facts(organisation, monday - timedelta(DAYS_IN_WEEK), last, spas)
    return [_week(facts, monday + timedelta(number * DAYS_IN_WEEK)) for number in range(weeks)]


def _week(facts: Facts, monday: date) -> OwedWeek:
    by_spa: dict[UUID, list[Agreement]] = defaultdict(list)
    for agreement in facts.agreements:
        by_spa[agreement.spa_id].append(agreement)
    owed: list[Owed] = []
    notes = _holiday_notes(facts, monday)
    for agreements in by_spa.values():
        more, said = _of_spa(facts, agreements, monday)
        owed += more
        notes += said
    return OwedWeek(monday, owed, notes)


def _of_spa(facts: Facts, agreements: Sequence[Agreement], monday: date) -> tuple[list[Owed], list[Note]]:
    spa = agreements[0].spa
    promises, notes = promises_of(facts, agreements, monday)
    if why := _why_not_planned(spa):
        left_out = [Note(spa, f"{named(spa)} is left out: {why}")]
        return [], left_out if promises else []
    kept: list[Owed] = []
    for promise in promises:
        if why := _why_nobody_can(facts, promise.agreement):
            notes.append(Note(spa, f"{named(spa)}, {promise.why}: left out, {why}"))
        else:
            kept.append(_owed(promise, monday))
    return kept, [*notes, *guideline_note(facts, agreements, promises, monday)]


def _why_not_planned(spa: Spa) -> str:
    if archived := why_not_in_use(spa):
        return f"{archived} End its agreement, or bring it back into use."
    if spa.site.latitude is None or spa.site.longitude is None:
        return "the position of its site is not known."
    return ""


def _why_nobody_can(facts: Facts, agreement: Agreement) -> str:
    needs = {skill.name for skill in agreement.skills.all()}
    barred = {person.pk for person in agreement.not_with.all()}
    able = [key for key, skills in facts.skills.items() if needs <= skills]
    if needs and not able:
        return f"it needs {' and '.join(sorted(needs))} and nobody has it."
    if able and barred.issuperset(able):
        return "everybody who could go is kept away by the agreement."
    return ""


def _owed(promise: Promise, monday: date) -> Owed:
    agreement = promise.agreement
    preferred = agreement.preferred if agreement.preferred and agreement.preferred.is_active else None
    suffix = f":{promise.changeover.isoformat()}" if promise.changeover else ""
    return Owed(
        key=f"{agreement.pk}:{monday.isoformat()}{suffix}",
        spa=agreement.spa,
        agreement=agreement,
        why=promise.why,
        service_minutes=agreement.minutes_on_site,
        needs=tuple(sorted(skill.name for skill in agreement.skills.all())),
        day_choices=promise.choices,
        windows=_windows(promise),
        changeover_days=promise.changeover_days,
        preferred=preferred,
        not_with=tuple(sorted(agreement.not_with.all(), key=lambda person: (person.name, str(person.pk)))),
        optional=agreement.optional,
    )


def _windows(promise: Promise) -> tuple[DayWindow, ...]:
    """One window for all days where they agree; none where every day is wholly open."""
    days = sorted({day for chosen in promise.choices for day in chosen})
    by_day = [(day, promise.starts[day]) for day in days]
    if len({tuple(starts) for _, starts in by_day}) == 1:
        starts = by_day[0][1]
        whole = len(starts) == 1 and (starts[0].opens, starts[0].closes) == (time.min, time(23, 59))
        return () if whole else tuple(DayWindow(None, start.opens, start.closes) for start in starts)
    return tuple(DayWindow(day, start.opens, start.closes) for day, starts in by_day for start in starts)


def _holiday_notes(facts: Facts, monday: date) -> list[Note]:
    """One note a public holiday: on how many spas' agreements it takes a day away."""
    settings, notes = facts.settings, []
    for day in (monday + timedelta(number) for number in range(DAYS_IN_WEEK)):
        name = public_holidays(settings.country, settings.subdivision, day.year).get(day)
        moved = {agreement.spa_id for agreement in facts.agreements if name and _avoids(agreement, day)}
        if moved:
            spas = "1 spa's visits" if len(moved) == 1 else f"visits to {len(moved)} spas"
            notes.append(Note(None, f"{say_day(day)} is {name}: {spas} are moved off it."))
    return notes


def _avoids(agreement: Agreement, day: date) -> bool:
    return agreement.avoid_public_holidays and day.weekday() in agreement.weekdays and agreement.covers(day)
