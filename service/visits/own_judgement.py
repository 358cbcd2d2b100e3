"""What own judgement may not do: exceed a cap, bring together what must not meet, use what is forbidden."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from service.chemistry.errors import InputError
from service.chemistry.treatment.holds import HOLDS
from service.chemistry.treatment.overrides import review_doses
from service.chemistry.treatment.pairs import rules_between
from service.chemistry.treatment.products import SLOW_AS_TABLETS, parse_products
from service.sites.models import Spa
from service.stock.models import Form, Product
from service.visits.changes import drain_planned
from service.visits.clock import say, zone_of
from service.visits.deviations import changed_amount
from service.visits.editing import Refused
from service.visits.inspection import BY_KEY, holds_of, said_no
from service.visits.models import Decision, StepState, TreatmentStep, Visit
from service.visits.products import engine_product


@dataclass(frozen=True)
class Dose:
    """So much of a product, at a time."""

    product: Product
    mass_g: Decimal
    at: datetime


def check_planned(visit: Visit, step: TreatmentStep, dose: Dose, *, given: Sequence[TreatmentStep]) -> None:
    """Raise Refused, in the engine's words, when a planned step may not be done like this, or not yet.

    given  What was really added at this visit so far, this step left out.
    """
    _check_water(visit)
    _check_allowed(visit.spa, dose.product)
    if changed_amount(step, dose.mass_g):
        _check_changed(step, dose, given)
    for other in given:
        _check_wait(visit, other, dose)


def check_own(visit: Visit, dose: Dose, *, decision: Decision, standing: Iterable[TreatmentStep]) -> None:
    """Raise Refused, in the engine's words, when a dose that nobody planned may not go in.

    decision  The newest decision. standing: steps of the visit that were not skipped, done or to do.
    """
    _check_water(visit)
    _check_allowed(visit.spa, dose.product)
    listed = list(standing)
    given = [step for step in listed if step.state == StepState.DONE]
    for step in listed:
        _check_pair(step, dose.product)
    for step in given:
        _check_wait(visit, step, dose)
    if not is_for_feeder(dose.product):
        _check_sum(decision, dose, given)
        _review(decision, dose, given)


def is_for_feeder(product: Product) -> bool:
    """A tablet that dissolves over days in a feeder or floater: no dose for today."""
    return product.form == Form.TABLET and product.substance in SLOW_AS_TABLETS


def _check_water(visit: Visit) -> None:
    """No dose under a hold, into water about to go, or while something is broken that closes the spa."""
    for hold in holds_of(visit):
        raise Refused(f"{HOLDS[hold].reason} {HOLDS[hold].response} Call {HOLDS[hold].call}.")
    if drain_planned(visit):
        raise Refused("The spa is being drained: add nothing to the old water.")
    for line in said_no(visit):
        if BY_KEY[line.item].closes:
            raise Refused(f"Nothing is added while this is answered No: {BY_KEY[line.item].question}")


def _check_allowed(spa: Spa, product: Product) -> None:
    if product.substance in spa.forbidden_substances:
        noted = f" {spa.warranty_note}" if spa.warranty_note else ""
        raise Refused(f"{product.name} is not used in this spa: its maker forbids it.{noted}")
    faults = parse_products([engine_product(product)], sanitiser=spa.sanitiser)[1]
    if faults:
        raise Refused(f"{product.name}: {faults[0].message}.")


def _check_changed(step: TreatmentStep, dose: Dose, given: Sequence[TreatmentStep]) -> None:
    """An amount of one's own instead of the planned one."""
    planned = step.planned_mass_g
    if planned is None or step.planned.get("largest_dose_g") is not None:
        _check_sum(step.decision, dose, given)
        _review(step.decision, dose, given)
    elif dose.mass_g > planned:
        # A breakpoint dose is above the usual cap by the engine's own rule: never above what it said.
        raise Refused(f"{_grams(dose.mass_g)} is above what the decision allows, {_grams(planned)}.")


def _check_sum(decision: Decision, dose: Dose, given: Iterable[TreatmentStep]) -> None:
    """Two doses of one substance without a test between count as one."""
    already = sum(
        (step.actual_mass_g or Decimal(0) for step in given if _same(step, decision, dose.product)),
        Decimal(0),
    )
    (known,), _ = parse_products([engine_product(dose.product)], sanitiser=decision.request["sanitiser"])
    most = Decimal(repr(known.cap.g_per_m3 * decision.request["volume_l"] / 1000))
    if already and already + dose.mass_g > most:
        raise Refused(
            f"{_grams(dose.mass_g)} of {dose.product.name}, with {_grams(already)} given already, is above"
            f" the largest single dose for this spa, {most:.0f} g ({known.cap.source})."
        )


def _same(step: TreatmentStep, decision: Decision, product: Product) -> bool:
    if step.product is None or step.decision_id != decision.pk or step.action != "add":
        return False
    return step.product.substance == product.substance


def _review(decision: Decision, dose: Dose, given: Iterable[TreatmentStep]) -> None:
    """What the engine says of this dose after those already given under the decision."""
    mine = [step for step in given if step.decision_id == decision.pk and step.action == "add"]
    products = {step.product.pk: step.product for step in mine if step.product}
    products[dose.product.pk] = dose.product
    doses = [{"product_id": str(step.product_id), "mass_g": float(step.actual_mass_g or 0)} for step in mine]
    doses.append({"product_id": str(dose.product.pk), "mass_g": float(dose.mass_g)})
    try:
        answer = review_doses(_request_with(decision, products.values()), doses)
    except InputError as error:
        raise Refused(f"No dose can be worked out: {error.errors[0].message}.") from error
    for refusal in answer["refusals"]:
        if refusal["dose"] == len(mine):
            raise Refused(_in_words(refusal, products.values()))


def _request_with(decision: Decision, products: Iterable[Product]) -> dict[str, Any]:
    """The decision's own request, with these products among those at hand."""
    entries = [engine_product(product) for product in products]
    ids = {entry["id"] for entry in entries}
    others = [entry for entry in decision.request["products"] if entry["id"] not in ids]
    return {**decision.request, "products": [*others, *entries]}


def _in_words(refusal: Mapping[str, Any], products: Iterable[Product]) -> str:
    """The engine's reason, with products called by their names."""
    words = f"{refusal['reason']} ({refusal['source']})."
    for product in products:
        words = words.replace(str(product.pk), product.name)
    return words


def _grams(mass: Decimal) -> str:
    return f"{mass.normalize():f} g"


def _check_pair(step: TreatmentStep, product: Product) -> None:
    if step.product is None:
        return
    for rule in rules_between(step.product.substance, product.substance):
        if rule.scopes & {"plan", "feeder"} if is_for_feeder(product) else "plan" in rule.scopes:
            raise Refused(f"{product.name} does not go with {step.product.name}: {rule.why} ({rule.source}).")


def _check_wait(visit: Visit, step: TreatmentStep, dose: Dose) -> None:
    if step.product is None or step.done_at is None:
        return
    for rule in rules_between(step.product.substance, dose.product.substance):
        clear = step.done_at + timedelta(minutes=rule.minutes_between)
        if dose.at < clear:
            zone = zone_of(visit.organisation)
            since, until = say(step.done_at, now=dose.at, zone=zone), say(clear, now=dose.at, zone=zone)
            raise Refused(
                f"{step.product.name} went in at {since}: {rule.why} ({rule.source})."
                f" Wait until {until}, pumps on."
            )
