"""Planning a visit by hand: new, changed, cancelled."""

from datetime import date, time, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from accounts.access import NotAllowed, require
from accounts.models import Person
from accounts.roles import Action
from service.sites.archive import why_not_in_use
from service.sites.models import Spa
from service.visits.clock import day_of, zone_of
from service.visits.editing import Refused, edit, note
from service.visits.models import Visit, VisitKind, VisitState
from service.visits.wording import needed

EARLIEST_DAYS_BACK = 7
LATEST_DAYS_AHEAD = 730
CHANGEABLE = (
    "planned_on",
    "technician",
    "window_from",
    "window_to",
    "kind",
    "instructions",
    "changeover",
    "bathers_expected",
    "sequence",
)


@transaction.atomic
def plan_visit(
    *,
    spa: Spa,
    planned_on: date,
    technician: Person | None,
    by: Person,
    window_from: time | None = None,
    window_to: time | None = None,
    kind: str = VisitKind.ROUND,
    instructions: str = "",
    changeover: bool = False,
    bathers_expected: int | None = None,
    sequence: int = 0,
) -> Visit:
    """Put a visit to one spa on a day.

    The office plans anything. A technician may put a call-out or a retest on their own day.

    Raises NotAllowed, Refused (archived spa, site or client) or ValidationError by field.
    """
    allow_planning(spa, technician, kind, by)
    visit = Visit(
        organisation=by.organisation,
        spa=spa,
        technician=technician,
        planned_on=planned_on,
        window_from=window_from,
        window_to=window_to,
        kind=kind,
        instructions=instructions.strip(),
        changeover=changeover,
        bathers_expected=bathers_expected,
        sequence=sequence,
        planned_by=by,
    )
    check_plan(visit, moved=True)
    visit.full_clean(validate_constraints=False)
    visit.save()
    note(visit, "visit.planned", by=by, kind=kind, planned_on=planned_on.isoformat())
    return visit


@transaction.atomic
def change_plan(*, visit: Visit, by: Person, expected_revision: int, **fields: Any) -> Visit:
    """Change a visit that has not started. ``fields`` are those of CHANGEABLE.

    Raises NotAllowed, AlreadySigned, Changed, Refused (it has started or ended), ValidationError by
    field, TypeError for an unknown field.
    """
    if unknown := sorted(set(fields) - set(CHANGEABLE)):
        raise TypeError(f"not a field of the plan: {', '.join(unknown)}")
    planned = (VisitState.PLANNED,)
    row = edit(visit, by=by, expected_revision=expected_revision, action=Action.PLAN_VISITS, states=planned)
    moved = fields.get("planned_on", row.planned_on) != row.planned_on
    for name, value in fields.items():
        setattr(row, name, value)
    check_plan(row, moved=moved)
    row.full_clean(validate_constraints=False)
    row.save(update_fields=list(fields))
    note(row, "visit.plan_changed", by=by, fields=sorted(fields))
    return row


@transaction.atomic
def cancel_visit(*, visit: Visit, reason: str, by: Person, expected_revision: int | None = None) -> Visit:
    """Take a visit off the plan before it starts; the row stays, with the reason.

    Raises NotAllowed, AlreadySigned, Changed, Refused (it has started or ended), ValidationError.
    """
    reason = needed(reason, "reason", "Say why the visit is cancelled.")
    planned = (VisitState.PLANNED,)
    row = edit(visit, by=by, expected_revision=expected_revision, action=Action.PLAN_VISITS, states=planned)
    row.state = VisitState.CANCELLED
    row.end_reason = reason
    row.ended_at = timezone.now()
    row.save(update_fields=["state", "end_reason", "ended_at"])
    note(row, "visit.cancelled", by=by)
    return row


def allow_planning(spa: Spa, technician: Person | None, kind: str, by: Person) -> None:
    """Raise NotAllowed, or Refused for a spa that is out of use, unless ``by`` may plan this visit."""
    if not by.may(Action.PLAN_VISITS):
        require(by, Action.CARRY_OUT_VISITS)
        own = technician is not None and technician.pk == by.pk
        if not own or kind == VisitKind.ROUND:
            raise NotAllowed(Action.PLAN_VISITS)
    if spa.organisation_id != by.organisation_id:
        raise NotAllowed(Action.PLAN_VISITS)
    if reason := why_not_in_use(spa):
        raise Refused(f"{reason} Bring it back before planning a visit.")


def check_plan(visit: Visit, *, moved: bool) -> None:
    """Raise ValidationError by field for what is wrong with the day, the person or the hours."""
    errors: dict[str, str] = {}
    if moved and (wrong := _wrong_day(visit)):
        errors["planned_on"] = wrong
    if visit.technician is not None and (wrong := _wrong_technician(visit, visit.technician)):
        errors["technician"] = wrong
    if visit.window_from and visit.window_to and visit.window_to <= visit.window_from:
        errors["window_to"] = "The latest time must be after the earliest."
    if errors:
        raise ValidationError(errors)


def _wrong_day(visit: Visit) -> str:
    today = day_of(timezone.now(), zone_of(visit.organisation))
    first, last = today - timedelta(EARLIEST_DAYS_BACK), today + timedelta(LATEST_DAYS_AHEAD)
    if first <= visit.planned_on <= last:
        return ""
    return f"The day must be from {first.day} {first:%B %Y} to {last.day} {last:%B %Y}."


def _wrong_technician(visit: Visit, technician: Person) -> str:
    if technician.organisation_id != visit.organisation_id:
        return "This technician does not exist."
    if not technician.is_active:
        return f"{technician.name} no longer works here."
    if not technician.may(Action.CARRY_OUT_VISITS):
        return f"{technician.name} does not carry out visits."
    return ""
