"""Who works in a week: one shift a technician and day, days off and closed days taken out."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, time, timedelta
from uuid import UUID

from django.db.models import QuerySet

from accounts.models import Organisation, Person
from accounts.roles import ALLOWED, Action
from service.rounds.models import DayOff, Shift, TechnicianBase
from service.rounds.notes import Note
from service.rounds.words import say_day

DAYS_IN_WEEK = 7


@dataclass(frozen=True)
class Place:
    """Where a day begins or ends. Degrees, WGS 84."""

    name: str
    latitude: float
    longitude: float


@dataclass(frozen=True)
class WorkShift:
    """One technician's day. Times are local; ``closes`` is before overtime.

    most_minutes      Longest time from leaving to being back; None: the whole shift.
    overtime_minutes  How much longer than ``closes`` the day may run.
    capacity          What the van carries, in kg.
    """

    technician: Person
    day: date
    opens: time
    closes: time
    break_opens: time | None
    break_closes: time | None
    break_minutes: int
    most_minutes: int | None
    overtime_minutes: int
    start: Place
    end: Place
    capacity: int
    skills: tuple[str, ...]


def shifts_in_week(organisation: Organisation, monday: date) -> tuple[list[WorkShift], list[Note]]:
    """Every day somebody works in the week of ``monday``, by day and name, and why others do not.

    Five queries. Raises ValueError if ``monday`` is another day of the week.
    """
    refuse_other_days(monday)
    people = {person.pk: person for person in technicians_of(organisation)}
    found = TechnicianBase.objects.filter(organisation=organisation).prefetch_related("skills")
    bases = {base.technician_id: base for base in found}
    off = list(days_off_between(organisation, monday, monday + timedelta(DAYS_IN_WEEK - 1)))
    usual = [
        shift
        for shift in Shift.objects.filter(organisation=organisation).order_by("weekday")
        if shift.technician_id in people
    ]
    shifts = [
        _work(shift, people[shift.technician_id], day, base, start)
        for shift in usual
        if not is_off(off, shift.technician_id, day := monday + timedelta(shift.weekday))
        and (base := bases.get(shift.technician_id))
        and (start := start_of(base))
    ]
    at_work = {shift.technician_id for shift in usual}
    notes = [*_closed(off), *_off(off, at_work, people), *_without_start(at_work, people, bases)]
    if not shifts:
        notes.append(Note(None, f"Nobody works in the week of {say_day(monday)}."))
    shifts.sort(key=lambda shift: (shift.day, shift.technician.name, str(shift.technician.pk)))
    return shifts, notes


def refuse_other_days(monday: date) -> None:
    """Raises ValueError unless the day is a Monday."""
    if monday.weekday():
        raise ValueError(f"{monday} is not a Monday")


def technicians_of(organisation: Organisation) -> list[Person]:
    """Everybody who carries out visits and works here now, by name."""
    roles = [role for role, actions in ALLOWED.items() if Action.CARRY_OUT_VISITS in actions]
    people = Person.objects.filter(organisation=organisation, is_active=True, role_grants__role__in=roles)
    return list(people.distinct().order_by("name", "pk"))


def start_of(base: TechnicianBase | None) -> Place | None:
    """Where the technician's day begins; None when that is not known."""
    if base is None or base.start_latitude is None or base.start_longitude is None:
        return None
    return Place(base.start_name, float(base.start_latitude), float(base.start_longitude))


def end_of(base: TechnicianBase, start: Place) -> Place:
    """Where it ends: at its own place, else where it began."""
    if base.end_latitude is None or base.end_longitude is None:
        return start
    return Place(base.end_name or base.start_name, float(base.end_latitude), float(base.end_longitude))


def days_off_between(organisation: Organisation, first: date, last: date) -> QuerySet[DayOff]:
    """Days off, of a person or of the whole firm, that touch these days, both included."""
    return DayOff.objects.filter(organisation=organisation, first_day__lte=last, last_day__gte=first)


def is_off(days_off: Iterable[DayOff], technician_id: UUID | None, day: date) -> bool:
    """Whether the technician, or with None the whole firm, does not work on the day."""
    return any(
        off.first_day <= day <= off.last_day and off.technician_id in (None, technician_id)
        for off in days_off
    )


def _work(shift: Shift, technician: Person, day: date, base: TechnicianBase, start: Place) -> WorkShift:
    has_break = shift.break_minutes > 0
    return WorkShift(
        technician=technician,
        day=day,
        opens=shift.opens,
        closes=shift.closes,
        break_opens=shift.break_opens if has_break else None,
        break_closes=shift.break_closes if has_break else None,
        break_minutes=shift.break_minutes,
        most_minutes=shift.most_minutes,
        overtime_minutes=shift.overtime_minutes,
        start=start,
        end=end_of(base, start),
        capacity=base.capacity_kg,
        skills=tuple(sorted(skill.name for skill in base.skills.all())),
    )


def _closed(off: Iterable[DayOff]) -> list[Note]:
    return [
        Note(None, f"The firm is closed {_span(days)}{_because(days)}.")
        for days in off
        if days.technician_id is None
    ]


def _off(off: Iterable[DayOff], at_work: set[UUID], people: Mapping[UUID, Person]) -> list[Note]:
    return [
        Note(
            people[days.technician_id],
            f"{people[days.technician_id].name} is off {_span(days)}{_because(days)}.",
        )
        for days in off
        if days.technician_id in at_work
    ]


def _without_start(
    at_work: set[UUID], people: Mapping[UUID, Person], bases: Mapping[UUID, TechnicianBase]
) -> list[Note]:
    return [
        Note(person, f"{person.name} is left out: where the day begins is not known.")
        for person in people.values()
        if person.pk in at_work and start_of(bases.get(person.pk)) is None
    ]


def _span(days: DayOff) -> str:
    if days.first_day == days.last_day:
        return f"on {say_day(days.first_day)}"
    return f"from {say_day(days.first_day)} to {say_day(days.last_day)}"


def _because(days: DayOff) -> str:
    """Holiday or training is said; that somebody is sick is the office's to know, not a plan's."""
    said = {"holiday": "holiday", "training": "training"}.get(days.reason, "")
    return f" ({said})" if said else ""
