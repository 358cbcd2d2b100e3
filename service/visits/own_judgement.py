"""What own judgement may not do: exceed a cap, bring together what must not meet, use what is forbidden."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal

from service.chemistry.treatment.holds import HOLDS
from service.chemistry.treatment.pairs import rules_between
from service.chemistry.treatment.products import parse_products
from service.sites.models import Spa
from service.stock.models import Product
from service.visits.clock import say, zone_of
from service.visits.editing import Refused
from service.visits.inspection import holds_of
from service.visits.models import TreatmentStep, Visit
from service.visits.products import engine_product


def check_dose(
    visit: Visit,
    product: Product,
    mass_g: Decimal,
    *,
    at: datetime,
    earlier: Iterable[TreatmentStep],
    planned: Iterable[TreatmentStep] = (),
) -> None:
    """Raise Refused, in the engine's words, when this much of a product may not go in at this time.

    earlier  What was really added at this visit so far: its waits have to be over.
    planned  What must not stand in one plan with it; empty for a step that the engine planned itself.
    """
    for hold in holds_of(visit):
        raise Refused(f"{HOLDS[hold].reason} {HOLDS[hold].response} Call {HOLDS[hold].call}.")
    _check_allowed(visit.spa, product)
    _check_cap(visit.spa, product, mass_g)
    for step in planned:
        _check_plan(step, product)
    for step in earlier:
        _check_wait(visit, step, product, at)


def _check_allowed(spa: Spa, product: Product) -> None:
    if product.substance in spa.forbidden_substances:
        noted = f" {spa.warranty_note}" if spa.warranty_note else ""
        raise Refused(f"{product.name} is not used in this spa: its maker forbids it.{noted}")
    faults = parse_products([engine_product(product)], sanitiser=spa.sanitiser)[1]
    if faults:
        raise Refused(f"{product.name}: {faults[0].message}.")


def _check_cap(spa: Spa, product: Product, mass_g: Decimal) -> None:
    (dosed,) = parse_products([engine_product(product)], sanitiser=spa.sanitiser)[0]
    cap = dosed.cap
    most = Decimal(repr(cap.g_per_m3)) * spa.volume_l / 1000 if cap.g_per_m3 != float("inf") else None
    if most is not None and mass_g > most:
        raise Refused(
            f"{mass_g.normalize():f} g of {product.name} is above the largest single dose for this spa,"
            f" {most:.0f} g ({cap.source})."
        )


def _check_plan(step: TreatmentStep, product: Product) -> None:
    if step.product is None:
        return
    for rule in rules_between(step.product.substance, product.substance, scope="plan"):
        raise Refused(f"{product.name} does not go with {step.product.name}: {rule.why} ({rule.source}).")


def _check_wait(visit: Visit, step: TreatmentStep, product: Product, at: datetime) -> None:
    if step.product is None or step.done_at is None:
        return
    for rule in rules_between(step.product.substance, product.substance):
        clear = step.done_at + timedelta(minutes=rule.minutes_between)
        if at < clear:
            zone = zone_of(visit.organisation)
            since, until = say(step.done_at, now=at, zone=zone), say(clear, now=at, zone=zone)
            raise Refused(
                f"{step.product.name} went in at {since}: {rule.why} ({rule.source})."
                f" Wait until {until}, pumps on."
            )
