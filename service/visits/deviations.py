"""Whether what was really added is what the decision planned."""

from collections.abc import Iterable
from decimal import Decimal

from service.visits.models import Decision, StepState, TreatmentStep

# What a level scoop may be off: common practice, no source.
SCOOP = Decimal("0.05")


def may_push_out(decision: Decision, steps: Iterable[TreatmentStep]) -> str:
    """Why the doses given may have moved the water elsewhere than planned; "" when the plan was kept.

    "Fit from a time" rests on the plan as the engine worked it out. An amount of one's own, a dose of
    one's own or a skipped dose asks for a test instead.
    """
    for step in steps:
        if step.action not in ("add", "replace_water") or step.state == StepState.PLANNED:
            continue
        if step.state == StepState.SKIPPED:
            return f"Step {step.order} was skipped, so the water has to be tested."
        if step.decision_id != decision.pk or is_own(step):
            return "A dose of one's own was added, so the water has to be tested."
        if changed_amount(step, step.actual_mass_g):
            return f"The amount of step {step.order} was changed, so the water has to be tested."
    return ""


def is_own(step: TreatmentStep) -> bool:
    """A dose that no decision planned."""
    return step.action == "add" and step.planned_mass_g is None


def is_provisional(step: TreatmentStep, steps: Iterable[TreatmentStep]) -> bool:
    """A dose behind a retest: it is worked out again from what the retest reads."""
    return any(
        other.decision_id == step.decision_id and other.action == "retest" and other.order < step.order
        for other in steps
    )


def changed_amount(step: TreatmentStep, actual: Decimal | None) -> bool:
    """Whether an amount is further from the plan than a level scoop may be."""
    planned = step.planned_mass_g
    if planned is None or actual is None:
        return False
    return abs(actual - planned) > planned * SCOOP
