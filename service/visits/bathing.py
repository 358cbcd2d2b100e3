"""How long bathers stay out after what was really added, from the time it was really added."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from service.chemistry.errors import InputError
from service.chemistry.guidelines import get
from service.chemistry.guidelines.dosing_rules import hand_dosing_minutes
from service.chemistry.waits import Wait, before_bathing
from service.sites.models import Spa
from service.stock.models import Product
from service.visits.models import TreatmentStep
from service.visits.own_judgement import is_for_feeder


@dataclass(frozen=True)
class Clear:
    """From when no dose keeps bathers out by its wait alone, and which wait decides it."""

    at: datetime
    why: str


def free_for_bathing(spa: Spa, doses: Iterable[TreatmentStep]) -> Clear | None:
    """The end of the longest wait, of label, local code and custom; None when nothing was dosed."""
    hand_dosing = _hand_dosing(spa)
    ends = []
    for step in doses:
        if step.product is None or step.done_at is None:
            continue
        wait = _wait(step.product, hand_dosing)
        words = f"{wait.minutes} minutes after {step.product.name} ({wait.source})"
        ends.append(Clear(step.done_at + timedelta(minutes=wait.minutes), words))
    return max(ends, key=lambda clear: clear.at, default=None)


def _wait(product: Product, hand_dosing: Wait | None) -> Wait:
    return before_bathing(
        product.substance,
        in_feeder=is_for_feeder(product),
        label_minutes=product.label_wait_minutes,
        hand_dosing=hand_dosing,
    )


def _hand_dosing(spa: Spa) -> Wait | None:
    try:
        rule = hand_dosing_minutes(get(spa.guideline_in_force()))
    except InputError:
        return None
    return Wait(rule[0], rule[1].source) if rule else None
