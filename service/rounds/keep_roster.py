"""Changing the roster: shifts of the week, where days begin, days off."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action
from service.rounds.models import DayOff, Shift, Skill, TechnicianBase, TechnicianSkill
from service.sites.saving import add_row, change_row, link_only

DAYS = range(7)


@transaction.atomic
def set_base(*, technician: Person, by: Person, skills: Iterable[Skill], **fields: Any) -> TechnicianBase:
    """Where the technician's days begin and end, what the van carries, what they can do.

    Raises NotAllowed; ValidationError by field.
    """
    require(by, Action.PLAN_VISITS)
    stored = TechnicianBase.objects.select_for_update().filter(technician=technician).first()
    if stored is None:
        base = TechnicianBase(organisation=by.organisation, technician=technician, **fields)
        add_row(base, action="base.set", by=by)
    else:
        base = change_row(stored, fields, action="base.changed", by=by)
    if link_only(TechnicianSkill, {"base": base}, to="skill", wanted=skills):
        record_event(action="base.changed", subject=base, by=by, detail={"changed": ["skills"]})
    return base


@transaction.atomic
def set_shifts(*, technician: Person, by: Person, shifts: Mapping[int, Mapping[str, Any] | None]) -> None:
    """The technician's usual week: weekday (Monday 0) -> values of Shift's fields, None for a free day.

    Days that are not named stay. Raises NotAllowed; ValidationError {weekday: its messages by field}.
    """
    require(by, Action.PLAN_VISITS)
    stored = {row.weekday: row for row in Shift.objects.select_for_update().filter(technician=technician)}
    wrong: dict[str, Any] = {}
    for weekday, fields in shifts.items():
        try:
            with transaction.atomic():
                _set_shift(technician, weekday, fields, stored.get(weekday), by)
        except ValidationError as refused:
            wrong |= {f"{weekday}-{name}": texts for name, texts in refused.message_dict.items()}
    if wrong:
        raise ValidationError(wrong)


def _set_shift(
    technician: Person, weekday: int, fields: Mapping[str, Any] | None, stored: Shift | None, by: Person
) -> None:
    if fields is None:
        if stored is not None:
            record_event(action="shift.removed", subject=stored, by=by, detail={"weekday": weekday})
            stored.delete()
    elif stored is None:
        shift = Shift(organisation=by.organisation, technician=technician, weekday=weekday, **fields)
        add_row(shift, action="shift.added", by=by)
    else:
        change_row(stored, fields, action="shift.changed", by=by)


@transaction.atomic
def add_day_off(*, technician: Person | None, by: Person, **fields: Any) -> DayOff:
    """Days on which the technician, or with None the whole firm, does not work.

    Raises NotAllowed; ValidationError by field.
    """
    require(by, Action.PLAN_VISITS)
    day_off = DayOff(organisation=by.organisation, technician=technician, **fields)
    return add_row(day_off, action="day_off.added", by=by)


@transaction.atomic
def remove_day_off(*, day_off: DayOff, by: Person) -> None:
    """Take a day off back. Raises NotAllowed."""
    require(by, Action.PLAN_VISITS)
    detail = {"first_day": day_off.first_day.isoformat(), "last_day": day_off.last_day.isoformat()}
    record_event(action="day_off.removed", subject=day_off, by=by, detail=detail)
    day_off.delete()
