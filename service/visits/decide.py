"""Asking the chemistry: from what was read and seen to a verdict and a treatment.

Readings that cannot be worked with are no error: they are a decision that keeps the spa closed and
says why.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from accounts.models import Person
from service.chemistry.errors import FieldError, InputError
from service.chemistry.readings import PARAMETERS
from service.chemistry.treatment.treat import engine_version, treat
from service.sites.models import Spa
from service.visits.changes import drain_planned, drained_at, last_change, latest
from service.visits.editing import Refused, edit, note
from service.visits.inspection import holds_of, judged_answers, signs_of
from service.visits.judging import judge_readings
from service.visits.ledger import bromide_mg_l, doses_in_water, last_filled, recent
from service.visits.models import (
    Decision,
    Moment,
    Reading,
    StepState,
    TreatmentStep,
    Visit,
)
from service.visits.products import usable_products
from service.visits.standing_water import readings_at
from service.visits.whole import gathered

MOST_BATHERS = 100
LOWEST_HEATER_KW = Decimal("0.1")
LOWEST_FILL_L_MINUTE = Decimal("0.1")
LABEL_FIRST = (
    "The product label and local code come first; these figures assume the stated volume and strength."
)
KEEP_CLOSED = (
    "Keep the spa closed. Repeat the test by another method; if it stays so, call a licensed professional."
)


def treatment_request(visit: Visit, moment: str) -> dict[str, Any]:
    """What the engine is asked for the water at a moment, in its contract's form.

    Needs ``spa.site.client``, ``spa.organisation`` and ``organisation`` loaded with the visit.
    """
    spa, readings = gathered(visit).spa, readings_at(visit, moment)
    at = latest([reading.taken_at for reading in readings] + [last_change(visit)]) or timezone.now()
    filled = last_filled(spa, until=at)
    doses = doses_in_water(spa, filled=filled, until=at)
    request = water_request(visit, moment)
    bromine = [reading.value for reading in readings if reading.parameter == "total_bromine_mg_l"]
    if filled is not None and bromine:
        bank = bromide_mg_l(doses, volume_l=spa.volume_l, total_bromine_mg_l=bromine[0])
        request["readings"]["bromide_mg_l"] = bank
    return {
        **request,
        "at": at.isoformat(),
        "products": usable_products(spa.sanitiser),
        "recent": recent(doses),
        **_if_known("bathers_expected", _bathers(visit)),
    }


def water_request(visit: Visit, moment: str) -> dict[str, Any]:
    """The part of the request that says what the water is. A change here makes a decision old."""
    return {
        **_of_the_spa(visit.spa),
        "readings": {reading.parameter: sent_reading(reading) for reading in readings_at(visit, moment)},
        "inspection": judged_answers(visit),
        "holds": holds_of(visit),
        "signs": signs_of(visit),
        "drain_planned": drain_planned(visit),
        "fresh_fill": drained_at(visit) is not None,
    }


@transaction.atomic
def decide(*, visit: Visit, moment: str, by: Person, expected_revision: int | None = None) -> Decision:
    """Ask the engine, keep question and answer, and lay out the steps. The newest decision stands.

    Steps of an older decision that were not done are dropped; what was done stays.

    Raises Refused (the readings are from before the last dose), NotAllowed, AlreadySigned, Changed.
    """
    row = gathered(edit(visit, by=by, expected_revision=expected_revision))
    _check_moment(row, moment)
    request = treatment_request(row, moment)
    response = answer(row, moment, request)
    decision = Decision.objects.create(
        organisation_id=row.organisation_id,
        visit=row,
        moment=moment,
        request=request,
        response=response,
        engine_version=response["engine_version"],
    )
    TreatmentStep.objects.filter(visit=row, state=StepState.PLANNED).delete()
    _lay_out(decision, response["treatment"])
    note(row, "visit.decided", by=by, moment=moment, verdict=response["verdict"])
    return decision


def answer(visit: Visit, moment: str, request: Mapping[str, Any]) -> dict[str, Any]:
    """The engine's answer; when it cannot work with the request, a closed one that says why."""
    try:
        response = treat(request)
    except InputError as error:
        return _closed_answer(visit, moment, error.errors)
    except ArithmeticError:
        words = "These readings cannot be worked out together: repeat the tests"
        return _closed_answer(visit, moment, (FieldError("readings", words),))
    return dict(json.loads(json.dumps(response)))


def standing_decision(visit: Visit, moment: str | None = None) -> Decision | None:
    """The newest decision of the visit, or of one moment of it."""
    return next((item for item in visit.decisions.all() if moment in (None, item.moment)), None)


def is_current(decision: Decision, visit: Visit) -> bool:
    """Whether what the decision rests on is still so: readings, inspection, spa, guideline, drain."""
    now = json.loads(json.dumps(water_request(visit, decision.moment)))
    then = {name: decision.request.get(name) for name in now}
    then["readings"] = {name: value for name, value in then["readings"].items() if name != "bromide_mg_l"}
    return bool(now == then)


def sent_reading(reading: Reading) -> dict[str, Any]:
    """A reading as the engine's request holds it; its value is what was typed, converted if it was."""
    typed = reading.value / reading.dilution_factor
    return {
        "value": float(typed),
        "at": reading.taken_at.isoformat(),
        **_if_known("method", reading.method or None),
        **_if_known("bound", reading.bound or None),
        **_if_known("plus_minus", None if reading.plus_minus is None else float(reading.plus_minus)),
        **({"dilution_factor": float(reading.dilution_factor)} if reading.dilution_factor != 1 else {}),
    }


def _of_the_spa(spa: Spa) -> dict[str, Any]:
    supply = {name: value for name, value in spa.site.supply_water.items() if name in PARAMETERS}
    return {
        "volume_l": spa.volume_l,
        "volume_basis": spa.volume_basis,
        "sanitiser": spa.sanitiser,
        "shell": spa.shell,
        "setting": spa.setting,
        "guideline": spa.guideline_in_force(),
        "forbidden_substances": sorted(spa.forbidden_substances),
        "units": "us" if spa.organisation.us_units else "metric",
        **_if_known("fill", supply or None),
        **_if_known("heater_kw", _from(spa.heater_kw, LOWEST_HEATER_KW)),
        **_if_known("fill_l_per_minute", _from(spa.fill_l_per_minute, LOWEST_FILL_L_MINUTE)),
    }


def _check_moment(visit: Visit, moment: str) -> None:
    change = last_change(visit)
    if moment == Moment.BEFORE and change is not None:
        raise Refused("Something was added since these readings. Test again, then ask for a decision.")
    if moment == Moment.AFTER:
        after = [reading for reading in visit.readings.all() if reading.moment == Moment.AFTER]
        if not any(change is None or reading.taken_at > change for reading in after):
            raise Refused("Nothing was read since the last dose. Test again, then ask for a decision.")


def _closed_answer(visit: Visit, moment: str, faults: Sequence[FieldError]) -> dict[str, Any]:
    judgement = judge_readings(visit, readings_at(visit, moment))
    return {
        "fit_for_use": False,
        "verdict": "closed_until_retest",
        "fit_from_minutes": None,
        "findings": list(judgement.findings),
        "treatment": [],
        "expected": None,
        "wait_before_use_minutes": None,
        "retest": sorted(
            {name for fault in faults if (name := fault.field.rpartition(".")[2]) in PARAMETERS}
        ),
        "unmet": [
            {
                "parameter": fault.field.rpartition(".")[2],
                "reason": f"No dose can be worked out: {fault.message}",
                "remedy": KEEP_CLOSED,
            }
            for fault in faults
        ],
        "cautions": [LABEL_FIRST],
        "errors": [{"field": fault.field, "message": fault.message} for fault in faults],
        "engine_version": engine_version(),
    }


def _lay_out(decision: Decision, steps: Iterable[Mapping[str, Any]]) -> None:
    TreatmentStep.objects.bulk_create(
        TreatmentStep(
            organisation_id=decision.organisation_id,
            visit=decision.visit,
            decision=decision,
            order=step["order"],
            action=step["action"],
            planned=dict(step),
            product_id=step.get("product_id"),
            planned_mass_g=_grams(step.get("mass_g")),
        )
        for step in steps
    )


def _grams(mass: float | None) -> Decimal | None:
    return None if mass is None else Decimal(repr(mass)).quantize(Decimal("0.01"))


def _bathers(visit: Visit) -> int | None:
    return None if visit.bathers_expected is None else min(visit.bathers_expected, MOST_BATHERS)


def _if_known(name: str, value: Any) -> dict[str, Any]:
    return {} if value is None else {name: value}


def _from(value: Decimal | None, lowest: Decimal) -> float | None:
    return None if value is None or value < lowest else float(value)
