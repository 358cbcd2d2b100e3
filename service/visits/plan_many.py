"""Planning, changing and cancelling many visits at once: the rules of ``plan``, in few statements.

All or nothing: the first visit that is refused ends the transaction.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from accounts.access import require
from accounts.audit import ROWS_AT_ONCE
from accounts.models import Person
from accounts.roles import Action
from service.sites.models import Spa
from service.visits.editing import edit_many, note_many
from service.visits.models import Visit, VisitKind, VisitState
from service.visits.plan import CHANGEABLE, allow_planning, check_plan
from service.visits.wording import needed

PLANNED = (VisitState.PLANNED,)
# What the database itself looks up as the rows go in; the objects' firms are compared before.
REFERENCES = ("organisation", "spa", "technician", "planned_by")
UPDATED_AT_ONCE = 100


@dataclass(frozen=True)
class NewVisit:
    """One visit to be put on a day. The spa comes with its site and client, the technician with roles."""

    spa: Spa
    planned_on: date
    technician: Person | None
    window_from: time | None = None
    window_to: time | None = None
    kind: str = VisitKind.ROUND
    changeover: bool = False
    sequence: int = 0


@transaction.atomic
def plan_visits(*, wanted: Sequence[NewVisit], by: Person) -> list[Visit]:
    """Put visits on days, as ``plan_visit`` does one. Returns them in the order asked for.

    Raises NotAllowed, Refused (archived spa, site or client) or ValidationError by field.
    """
    require(by, Action.PLAN_VISITS)
    visits = [_new(one, by) for one in wanted]
    Visit.objects.bulk_create(visits, batch_size=ROWS_AT_ONCE)
    detail = [(v, {"kind": v.kind, "planned_on": v.planned_on.isoformat()}) for v in visits]
    note_many("visit.planned", detail, by=by)
    return visits


@transaction.atomic
def change_plans(*, changes: Sequence[tuple[Visit, Mapping[str, Any]]], by: Person) -> list[Visit]:
    """Change visits that have not started, as ``change_plan`` does one; each as its object was read.

    changes  A visit, and new values for some of the fields of CHANGEABLE.

    Raises NotAllowed, AlreadySigned, Changed, Refused (one has started or ended), ValidationError by
    field, TypeError for an unknown field.
    """
    require(by, Action.PLAN_VISITS)
    names = {name for _, fields in changes for name in fields}
    if unknown := sorted(names - set(CHANGEABLE)):
        raise TypeError(f"not a field of the plan: {', '.join(unknown)}")
    seen = [visit for visit, _ in changes]
    rows = edit_many(seen, by=by, action=Action.PLAN_VISITS, states=PLANNED)
    # One object a person: what a person may do is looked up once.
    people = {row.technician_id: row.technician for row in rows.values()}
    for visit, fields in changes:
        row = rows[visit.pk]
        row.technician = people[row.technician_id]
        _change(row, fields)
    done = [(rows[visit.pk], {"fields": sorted(fields)}) for visit, fields in changes]
    visits = [row for row, _ in done]
    Visit.objects.bulk_update(visits, sorted({*names, "revision"}), batch_size=UPDATED_AT_ONCE)
    note_many("visit.plan_changed", done, by=by)
    return visits


@transaction.atomic
def cancel_visits(*, visits: Sequence[Visit], reason: str, by: Person) -> None:
    """Take visits off the plan before they start, as ``cancel_visit`` does one.

    Raises NotAllowed, AlreadySigned, Changed, Refused (one has started or ended), ValidationError.
    """
    require(by, Action.PLAN_VISITS)
    reason = needed(reason, "reason", "Say why the visits are cancelled.")
    rows = edit_many(visits, by=by, action=Action.PLAN_VISITS, states=PLANNED)
    cancelled = Visit.objects.filter(pk__in=rows)
    cancelled.update(
        state=VisitState.CANCELLED, end_reason=reason, ended_at=timezone.now(), revision=F("revision") + 1
    )
    note_many("visit.cancelled", [(row, {}) for row in rows.values()], by=by)


def _new(one: NewVisit, by: Person) -> Visit:
    allow_planning(one.spa, one.technician, one.kind, by)
    visit = Visit(
        organisation=by.organisation,
        spa=one.spa,
        technician=one.technician,
        planned_on=one.planned_on,
        window_from=one.window_from,
        window_to=one.window_to,
        kind=one.kind,
        changeover=one.changeover,
        sequence=one.sequence,
        planned_by=by,
    )
    _check(visit, moved=True)
    return visit


def _change(row: Visit, fields: Mapping[str, Any]) -> None:
    moved = fields.get("planned_on", row.planned_on) != row.planned_on
    for name, value in fields.items():
        setattr(row, name, value)
    _check(row, moved=moved)


def _check(visit: Visit, *, moved: bool) -> None:
    check_plan(visit, moved=moved)
    visit.clean_fields(exclude=REFERENCES)
    visit.clean()
