"""Beginning a visit, and every way it can end without a signature."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from accounts.access import NotAllowed
from accounts.models import Person
from accounts.roles import Action
from service.sites.models import Spa
from service.visits.closures import close_spa
from service.visits.editing import Changed, Refused, allow, edit, note
from service.visits.judging import reasons_to_keep_closed
from service.visits.models import Visit, VisitState
from service.visits.wording import needed

__all__ = ["ENDINGS", "Changed", "end_without_signing", "hand_over", "start_visit"]

# How a visit may end without a signature, by the state it is in.
ENDINGS: dict[str, tuple[str, ...]] = {
    VisitState.PLANNED: (
        VisitState.NO_ACCESS,
        VisitState.BATHERS,
        VisitState.REFUSED,
        VisitState.MISSED,
    ),
    VisitState.ON_SITE: (
        VisitState.PART_DONE,
        VisitState.NO_ACCESS,
        VisitState.BATHERS,
        VisitState.REFUSED,
    ),
    VisitState.PART_DONE: (
        VisitState.NO_ACCESS,
        VisitState.BATHERS,
        VisitState.REFUSED,
        VisitState.MISSED,
    ),
}
_NOT_ENDED = tuple(ENDINGS)


@transaction.atomic
def start_visit(*, visit: Visit, by: Person) -> Visit:
    """Begin a visit, or go on with one that was part done. Starting it twice changes nothing.

    A visit without a technician becomes that of ``by``.

    Raises NotAllowed, AlreadySigned, Refused (it has ended, or somebody is at work on this spa).
    """
    allow(visit, by=by, action=Action.CARRY_OUT_VISITS)
    if started := Visit.objects.filter(pk=visit.pk, state=VisitState.ON_SITE).first():
        return started
    row = edit(visit, by=by, states=(VisitState.PLANNED, VisitState.PART_DONE))
    # One after the other: two visits to one spa that are started at the same moment.
    Spa.objects.select_for_update(of=("self",)).get(pk=row.spa_id)
    at_work = Visit.objects.filter(spa=row.spa_id, state=VisitState.ON_SITE).exclude(pk=row.pk)
    if other := at_work.select_related("technician").first():
        name = other.technician.name if other.technician else "Somebody"
        raise Refused(f"{name} is at work on this spa. That visit has to be signed or ended first.")
    row.state = VisitState.ON_SITE
    row.started_at = row.started_at or timezone.now()
    row.technician = row.technician or by
    row.save(update_fields=["state", "started_at", "technician"])
    note(row, "visit.started", by=by)
    return row


@transaction.atomic
def end_without_signing(
    *, visit: Visit, state: str, reason: str, by: Person, expected_revision: int | None = None
) -> Visit:
    """End a visit that is not signed: no access, bathers in the water, refused, missed, part done.

    What was read or added stays written down. When it leaves the water unfit or unjudged, the spa is
    closed, because no verdict stands for it. A part-done visit keeps its spa closed by itself.

    Raises NotAllowed, AlreadySigned, Changed, Refused (it has ended), ValidationError by field.
    """
    row = edit(visit, by=by, expected_revision=expected_revision, states=_NOT_ENDED)
    if state not in ENDINGS[row.state]:
        choices = ", ".join(VisitState(choice).label for choice in ENDINGS[row.state])
        raise ValidationError({"state": f"Choose how the visit ended: {choices}."})
    reason = needed(reason, "reason", "Say in a few words how the visit ended.")
    if state != VisitState.PART_DONE:
        _close_if_unfit(row, VisitState(state).label, by)
        row.ended_at = timezone.now()
    row.state, row.end_reason = state, reason
    row.save(update_fields=["state", "end_reason", "ended_at"])
    note(row, "visit.ended", by=by, state=state)
    return row


@transaction.atomic
def hand_over(
    *, visit: Visit, to: Person, reason: str, by: Person, expected_revision: int | None = None
) -> Visit:
    """End a visit here and plan it again, on the same day, for somebody else. Returns the new visit.

    Raises NotAllowed, AlreadySigned, Changed, Refused (it has ended), ValidationError by field.
    """
    row = edit(visit, by=by, expected_revision=expected_revision, states=_NOT_ENDED)
    reason = needed(reason, "reason", "Say why the visit is handed over.")
    _check_receiver(row, to)
    _close_if_unfit(row, VisitState.HANDED_OVER.label, by)
    row.state, row.end_reason, row.ended_at = VisitState.HANDED_OVER, reason, timezone.now()
    row.save(update_fields=["state", "end_reason", "ended_at"])
    taken_over = _same_visit_for(row, to, by)
    note(row, "visit.handed_over", by=by, to=str(to.pk), visit=str(taken_over.pk))
    note(taken_over, "visit.planned", by=by, taken_over_from=str(row.pk))
    return taken_over


def _check_receiver(visit: Visit, to: Person) -> None:
    if to.organisation_id != visit.organisation_id:
        raise NotAllowed(Action.CARRY_OUT_VISITS)
    if not to.is_active or not to.may(Action.CARRY_OUT_VISITS):
        raise ValidationError({"to": f"{to.name} does not carry out visits."})
    if to.pk == visit.technician_id:
        raise ValidationError({"to": f"This is {to.name}'s visit already."})


def _same_visit_for(visit: Visit, to: Person, by: Person) -> Visit:
    return Visit.objects.create(
        organisation_id=visit.organisation_id,
        spa=visit.spa,
        technician=to,
        kind=visit.kind,
        planned_on=visit.planned_on,
        window_from=visit.window_from,
        window_to=visit.window_to,
        sequence=visit.sequence,
        instructions=visit.instructions,
        changeover=visit.changeover,
        bathers_expected=visit.bathers_expected,
        planned_by=by,
    )


def _close_if_unfit(visit: Visit, ended: str, by: Person) -> None:
    if reasons := reasons_to_keep_closed(visit):
        words = f"The visit ended without a signature ({ended.lower()}). {' '.join(reasons)}"
        close_spa(spa=visit.spa, reason=words[:600], by=by, visit=visit)
