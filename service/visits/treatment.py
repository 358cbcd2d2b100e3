"""Doing the treatment: what was really added, of which batch, when; what was skipped and why.

Own judgement may change an amount, skip a step or add a dose, with a reason; the expected water is
worked out again. It may not exceed a cap, bring together what must not meet or use a forbidden
product, and it never changes the verdict.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from accounts.models import Person
from service.chemistry.errors import InputError
from service.chemistry.predict import predict
from service.stock.models import Batch, Product
from service.visits.changes import CHANGES_WATER, done_changes
from service.visits.clock import why_not_then, zone_of
from service.visits.decide import standing_decision
from service.visits.deviations import changed_amount, is_provisional
from service.visits.editing import Refused, edit, note
from service.visits.models import Decision, StepState, TreatmentStep, Visit
from service.visits.own_judgement import Dose, check_own, check_planned, is_for_feeder
from service.visits.whole import gathered
from service.visits.wording import needed, optional

LARGEST_MASS_G = Decimal(100_000)
SMALLEST_MASS_G = Decimal("0.01")
DOSE = "add"
FEEDER = "load_feeder"
# Bathers wait at least this long after a dose of one's own before it is tested: common practice, no source.
OWN_DOSE_WAIT = timedelta(minutes=30)


@transaction.atomic
def do_step(
    *,
    step: TreatmentStep,
    by: Person,
    expected_revision: int | None,
    actual_mass_g: Decimal | None = None,
    batch: Batch | None = None,
    reason: str = "",
    done_at: datetime | None = None,
) -> TreatmentStep:
    """Record a step as done; for a dose with what was really added, planned when nothing is given.

    A step that is done may be done again to correct its amount, batch or time.

    Raises Refused (an earlier step is open, a wait runs, above a cap, must not meet, forbidden, held),
    ValidationError by field (actual_mass_g, batch, reason, done_at), NotAllowed, AlreadySigned, Changed.
    """
    row = gathered(edit(step.visit, by=by, expected_revision=expected_revision))
    mine = _of_standing_decision(row, step)
    _check_turn(row, mine)
    _check_not_provisional(row, mine)
    was = {"state": mine.state, "actual_mass_g": _text(mine.actual_mass_g)}
    at = _time(row, done_at or mine.done_at)
    if mine.action == DOSE and mine.product is not None:
        mine.actual_mass_g = _mass(_first(actual_mass_g, mine.actual_mass_g, mine.planned_mass_g))
        given = [other for other in done_changes(row) if other.pk != mine.pk]
        check_planned(row, mine, Dose(mine.product, mine.actual_mass_g, at), given=given)
        mine.batch = _batch(mine.product, batch) or mine.batch
    mine.reason = _reason(mine, reason or mine.reason)
    mine.state, mine.done_at, mine.done_by = StepState.DONE, at, by
    mine.wait_until = _wait_until(mine, at)
    mine.save()
    now = {"order": mine.order, "action": mine.action, "actual_mass_g": _text(mine.actual_mass_g)}
    note(row, "visit.step_done", by=by, was=was, **now)
    return mine


@transaction.atomic
def skip_step(
    *, step: TreatmentStep, reason: str, by: Person, expected_revision: int | None
) -> TreatmentStep:
    """Record that a step was not done, and why. A dose that went in cannot be skipped afterwards.

    Raises Refused, ValidationError for ``reason``, NotAllowed, AlreadySigned, Changed.
    """
    row = gathered(edit(step.visit, by=by, expected_revision=expected_revision))
    mine = _of_standing_decision(row, step)
    if mine.state == StepState.DONE:
        raise Refused("This step is done. Correct its amount if it was mistyped.")
    _check_turn(row, mine)
    mine.reason = needed(reason, "reason", "Say why the step is skipped.")
    mine.state = StepState.SKIPPED
    mine.save(update_fields=["reason", "state"])
    note(row, "visit.step_skipped", by=by, order=mine.order, action=mine.action)
    return mine


@transaction.atomic
def own_dose(
    *,
    visit: Visit,
    product: Product,
    mass_g: Decimal,
    reason: str,
    by: Person,
    expected_revision: int | None,
    batch: Batch | None = None,
    done_at: datetime | None = None,
) -> TreatmentStep:
    """Record a dose that no decision planned. The water has to be tested after it.

    Slow tablets loaded into a feeder or floater count in the log, but change nothing today.

    Raises Refused (no decision yet, above a cap, must not meet, forbidden, held, a drain is planned),
    ValidationError by field (mass_g, batch, reason, done_at), NotAllowed, AlreadySigned, Changed.
    """
    row = gathered(edit(visit, by=by, expected_revision=expected_revision))
    decision = standing_decision(row)
    if decision is None:
        raise Refused("Test the water and ask for a decision before anything is added.")
    if product.organisation_id != row.organisation_id:
        raise ValidationError({"product": "This product does not exist."})
    at, mass = _time(row, done_at), _mass(mass_g, field="mass_g")
    check_own(row, Dose(product, mass, at), decision=decision, standing=_not_skipped(row))
    purpose = needed(reason, "reason", "Say why this is added.")
    order = max((other.order for other in row.steps.all() if other.decision_id == decision.pk), default=0) + 1
    step = TreatmentStep.objects.create(
        organisation_id=row.organisation_id,
        visit=row,
        decision=decision,
        order=order,
        action=FEEDER if is_for_feeder(product) else DOSE,
        planned={"own": True},
        product=product,
        actual_mass_g=mass,
        batch=_batch(product, batch),
        state=StepState.DONE,
        reason=purpose,
        done_at=at,
        wait_until=None if is_for_feeder(product) else at + OWN_DOSE_WAIT,
        done_by=by,
    )
    note(row, "visit.own_dose_added", by=by, substance=product.substance, mass_g=_text(mass))
    return step


def standing_steps(visit: Visit) -> list[TreatmentStep]:
    """What the page shows: what was done or skipped under any decision, and what the newest one plans."""
    return sorted(visit.steps.all(), key=lambda step: (step.decision.made_at, step.order))


def expected_water(visit: Visit) -> dict[str, Any] | None:
    """The water that the doses really given should make of the readings the decision was made from.

    In the contract's form of a water. None when nothing was dosed since, or it cannot be worked out.
    """
    decision = standing_decision(visit)
    doses = [step for step in done_changes(visit) if decision and step.decision_id == decision.pk]
    if decision is None or not doses:
        return None
    request = {
        "volume_l": decision.request["volume_l"],
        "readings": decision.request["readings"],
        "steps": list(_predicted(decision, doses)),
    }
    try:
        after: dict[str, Any] = predict(request)["after"]
    except InputError:
        return None
    return after


def _predicted(decision: Decision, doses: Iterable[TreatmentStep]) -> Iterable[dict[str, Any]]:
    for step in doses:
        if step.product is None:
            fill = decision.request.get("fill") or {}
            yield {"replace_fraction": step.planned.get("replace_fraction", 0), "fill": fill}
        else:
            yield {
                "add": step.product.substance,
                "mass_g": float(step.actual_mass_g or 0),
                "active_fraction": float(step.product.active_fraction),
            }


def _not_skipped(visit: Visit) -> list[TreatmentStep]:
    return [step for step in visit.steps.all() if step.state != StepState.SKIPPED]


def _of_standing_decision(visit: Visit, step: TreatmentStep) -> TreatmentStep:
    """The step as it stands now. A step of an older decision is history."""
    mine = next((other for other in visit.steps.all() if other.pk == step.pk), None)
    decision = standing_decision(visit)
    if mine is None or decision is None or mine.decision_id != decision.pk:
        raise Refused("There is a newer decision. Go by its steps.")
    return mine


def _check_turn(visit: Visit, step: TreatmentStep) -> None:
    """One after the other: an earlier step is done or skipped first."""
    for other in sorted(visit.steps.all(), key=lambda other: other.order):
        earlier = other.decision_id == step.decision_id and other.order < step.order
        if earlier and other.state == StepState.PLANNED:
            raise Refused(f"Step {other.order} comes first: do it, or skip it with a reason.")


def _check_not_provisional(visit: Visit, step: TreatmentStep) -> None:
    planned = step.action in CHANGES_WATER and step.state == StepState.PLANNED
    if planned and is_provisional(step, visit.steps.all()):
        raise Refused("This dose is provisional. Test the water, then ask for a decision again.")


def _time(visit: Visit, done_at: datetime | None) -> datetime:
    if done_at is None:
        return timezone.now()
    if wrong := why_not_then(done_at, since=visit.started_at, zone=zone_of(visit.organisation)):
        raise ValidationError({"done_at": wrong})
    return done_at


def _first(*amounts: Decimal | None) -> Decimal | None:
    return next((amount for amount in amounts if amount is not None), None)


def _mass(mass_g: Decimal | None, *, field: str = "actual_mass_g") -> Decimal:
    if mass_g is None:
        raise ValidationError({field: "Say how much was added, in grams."})
    if not mass_g.is_finite() or not SMALLEST_MASS_G <= mass_g <= LARGEST_MASS_G:
        raise ValidationError({field: f"The amount must be from {SMALLEST_MASS_G} to {LARGEST_MASS_G} g."})
    return mass_g.quantize(SMALLEST_MASS_G)


def _batch(product: Product, batch: Batch | None) -> Batch | None:
    if batch is not None and batch.product_id != product.pk:
        raise ValidationError({"batch": f"This is not a batch of {product.name}."})
    return batch


def _reason(step: TreatmentStep, reason: str) -> str:
    if step.action == DOSE and changed_amount(step, step.actual_mass_g):
        return needed(reason, "reason", "Say why the amount was changed.")
    return optional(reason, "reason")


def _wait_until(step: TreatmentStep, at: datetime) -> datetime | None:
    minutes = step.planned.get("wait_minutes") or step.planned.get("minutes")
    if minutes is None:
        return at + OWN_DOSE_WAIT if step.planned.get("own") else None
    return at + timedelta(minutes=float(minutes))


def _text(mass: Decimal | None) -> str | None:
    return None if mass is None else f"{mass:f}"
