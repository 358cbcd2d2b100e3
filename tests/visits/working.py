"""A technician's work in the tests, through the same use cases as on the page."""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from django.utils import timezone

from service.sites.models import Spa
from service.stock.models import Product
from service.visits.decide import decide, treatment_request
from service.visits.inspection import ITEMS, answer_inspection
from service.visits.models import Decision, Moment, Record, TreatmentStep, Visit
from service.visits.open import start_visit
from service.visits.plan import plan_visit
from service.visits.readings import ReadingInput, record_readings
from service.visits.sign import sign_visit
from tests.factories import PIN, ProductFactory
from tests.personas import Firm

# A Wednesday; 10:00 on the firm's clock (Europe/London, summer time).
MORNING = datetime(2026, 6, 3, 9, 0, tzinfo=UTC)
# Inside every limit of 25-C DCMR 404.2: free chlorine 3 to 10, pH 7.2 to 7.8.
GOOD = {
    "free_chlorine_mg_l": "4.0",
    "ph": "7.4",
    "temperature_c": "38",
    "total_alkalinity_mg_l": "100",
    "calcium_hardness_mg_l": "180",
}
SUBSTANCES = {
    "Bicarbonate": ("sodium_bicarbonate", "0.99", "granules"),
    "Acid salt": ("sodium_bisulfate", "0.95", "granules"),
    "Liquid chlorine": ("sodium_hypochlorite", "0.12", "liquid"),
    "Stabilised chlorine": ("dichlor_dihydrate", "0.99", "granules"),
}


def fresh(visit: Visit) -> Visit:
    """The visit as it stands in the database, with what the use cases want loaded."""
    loaded = ("spa__site__client", "spa__organisation", "organisation", "technician")
    return Visit.objects.select_related(*loaded).get(pk=visit.pk)


def planned(firm: Firm, spa: Spa | None = None, **plan: Any) -> Visit:
    plan.setdefault("planned_on", timezone.localdate())
    plan.setdefault("technician", firm.technician)
    return plan_visit(spa=spa or firm.spa, by=firm.office, **plan)


def started(firm: Firm, spa: Spa | None = None, **plan: Any) -> Visit:
    return fresh(start_visit(visit=planned(firm, spa, **plan), by=firm.technician))


def inspect(firm: Firm, visit: Visit, **no: str) -> Visit:
    """Answer every line Yes, but those named No with their note."""
    answers = {item.key: ("no", no[item.key]) if item.key in no else ("yes", "") for item in ITEMS}
    answer_inspection(visit=visit, answers=answers, by=firm.technician, expected_revision=None)
    return fresh(visit)


def read(firm: Firm, visit: Visit, values: Mapping[str, str], moment: str = Moment.BEFORE) -> Visit:
    readings = [ReadingInput(parameter, value) for parameter, value in values.items()]
    record_readings(visit=visit, moment=moment, readings=readings, by=firm.technician, expected_revision=None)
    return fresh(visit)


def decided(firm: Firm, visit: Visit, moment: str = Moment.BEFORE) -> Visit:
    decide(visit=visit, moment=moment, by=firm.technician)
    return fresh(visit)


def ready(firm: Firm, spa: Spa | None = None, values: Mapping[str, str] = GOOD, **plan: Any) -> Visit:
    """A visit looked at, tested and decided, with nothing to add."""
    visit = inspect(firm, started(firm, spa, **plan))
    return decided(firm, read(firm, visit, values))


def sign(firm: Firm, visit: Visit, **more: Any) -> Record:
    more = {"pin": PIN, "by": firm.technician, "expected_revision": fresh(visit).revision, **more}
    return sign_visit(visit=visit, **more)


def signed(firm: Firm, spa: Spa | None = None, **plan: Any) -> Visit:
    """A visit signed as fit for use."""
    visit = ready(firm, spa, **plan)
    sign(firm, visit)
    return fresh(visit)


def product(firm: Firm, name: str, **fields: Any) -> Product:
    """One of SUBSTANCES as a product of the firm."""
    substance, strength, form = SUBSTANCES[name]
    return ProductFactory(
        organisation=firm.organisation,
        name=name,
        substance=substance,
        active_fraction=Decimal(strength),
        form=form,
        **fields,
    )


def with_plan(
    visit: Visit,
    doses: Iterable[tuple[Product, str, int]],
    *,
    verdict: str = "fit_from",
    moment: str = Moment.BEFORE,
) -> list[TreatmentStep]:
    """A decision made now: doses (product, grams, minutes to wait), then a retest."""
    visit = fresh(visit)
    request = treatment_request(visit, moment)
    decision = Decision.objects.create(
        organisation=visit.organisation,
        visit=visit,
        moment=moment,
        request=request,
        response={
            "fit_for_use": verdict != "closed_until_retest",
            "verdict": verdict,
            "unmet": [],
            "findings": [],
        },
        engine_version="laid out by a test",
    )
    steps = [
        TreatmentStep.objects.create(
            organisation=visit.organisation,
            visit=visit,
            decision=decision,
            order=order,
            action="add",
            planned={
                "wait_minutes": wait,
                "when": "before_you_leave",
                "purpose": "raise it",
                **({"largest_dose_g": 106.2} if Decimal(grams) <= 100 else {}),
            },
            product=dosed,
            planned_mass_g=Decimal(grams),
        )
        for order, (dosed, grams, wait) in enumerate(doses, start=1)
    ]
    retest = TreatmentStep.objects.create(
        organisation=visit.organisation,
        visit=visit,
        decision=decision,
        order=len(steps) + 1,
        action="retest",
        planned={"parameters": ["free_chlorine_mg_l", "ph"]},
    )
    return [*steps, retest]
