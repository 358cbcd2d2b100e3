"""Every write stands or falls with its audit row."""

from collections.abc import Callable
from decimal import Decimal
from functools import partial
from typing import Any

import pytest
from django.db import models

from accounts.models import AuditEvent
from service.visits import closures, defects, editing
from service.visits.amend import amend_record
from service.visits.closures import close_spa
from service.visits.decide import decide
from service.visits.defects import settle_defect
from service.visits.inspection import answer_inspection
from service.visits.models import (
    Amendment,
    Closure,
    Decision,
    Defect,
    InspectionAnswer,
    Moment,
    Reading,
    Task,
    TreatmentStep,
    Visit,
)
from service.visits.open import end_without_signing, hand_over, start_visit
from service.visits.plan import cancel_visit, change_plan, plan_visit
from service.visits.readings import ReadingInput, choose_governing, record_readings, withdraw_reading
from service.visits.tasks import do_task, tick_line
from service.visits.treatment import do_step, own_dose, skip_step
from tests.factories import PersonFactory
from tests.personas import Firm
from tests.visits.working import GOOD, MORNING, inspect, planned, product, read, signed, started, with_plan

TABLES: tuple[type[models.Model], ...] = (
    Visit,
    InspectionAnswer,
    Reading,
    Decision,
    TreatmentStep,
    Task,
    Defect,
    Closure,
    Amendment,
    AuditEvent,
)


def _reading(firm: Firm) -> Reading:
    return read(firm, started(firm), GOOD).readings.all()[0]


def _dose(firm: Firm) -> TreatmentStep:
    return with_plan(read(firm, started(firm), GOOD), [(product(firm, "Bicarbonate"), "40", 15)])[0]


def _defect(firm: Firm) -> Defect:
    inspect(firm, started(firm), cover="Torn")
    return Defect.objects.get()


def _by(firm: Firm) -> dict[str, Any]:
    return {"by": firm.technician, "expected_revision": None}


def _own_dose(firm: Firm) -> Callable[[], Any]:
    step = _dose(firm)
    return partial(
        own_dose, visit=step.visit, product=step.product, mass_g=Decimal(5), reason="Low", **_by(firm)
    )


# Each entry lays something out, and returns the write that is to be undone.
WRITES: dict[str, Callable[[Firm], Callable[[], Any]]] = {
    "plan": lambda firm: partial(
        plan_visit, spa=firm.spa, planned_on=MORNING.date(), technician=None, by=firm.office
    ),
    "change plan": lambda firm: partial(
        change_plan, visit=planned(firm), by=firm.office, expected_revision=0, sequence=4
    ),
    "cancel": lambda firm: partial(cancel_visit, visit=planned(firm), reason="Rain", by=firm.office),
    "start": lambda firm: partial(start_visit, visit=planned(firm), by=firm.technician),
    "end": lambda firm: partial(
        end_without_signing,
        visit=read(firm, started(firm), {"free_chlorine_mg_l": "0"}),
        state="no_access",
        reason="Locked",
        by=firm.technician,
    ),
    "hand over": lambda firm: partial(
        hand_over,
        visit=planned(firm),
        to=PersonFactory(organisation=firm.organisation, roles=["technician"]),
        reason="Sick",
        by=firm.office,
    ),
    "inspect": lambda firm: partial(
        answer_inspection, visit=started(firm), answers={"cover": ("no", "Torn")}, **_by(firm)
    ),
    "read": lambda firm: partial(
        record_readings,
        visit=started(firm),
        moment=Moment.BEFORE,
        readings=[ReadingInput("ph", "7")],
        **_by(firm),
    ),
    "withdraw": lambda firm: partial(withdraw_reading, reading=_reading(firm), reason="Slip", **_by(firm)),
    "choose": lambda firm: partial(choose_governing, reading=_reading(firm), by=firm.technician),
    "decide": lambda firm: partial(
        decide, visit=read(firm, started(firm), GOOD), moment=Moment.BEFORE, by=firm.technician
    ),
    "do step": lambda firm: partial(do_step, step=_dose(firm), **_by(firm)),
    "skip step": lambda firm: partial(skip_step, step=_dose(firm), reason="No", **_by(firm)),
    "own dose": _own_dose,
    "do task": lambda firm: partial(do_task, visit=started(firm), kind="cover", **_by(firm)),
    "tick line": lambda firm: partial(tick_line, visit=started(firm), key="breaker_off", **_by(firm)),
    "close": lambda firm: partial(close_spa, spa=firm.spa, reason="Cable bare", by=firm.office),
    "settle": lambda firm: partial(settle_defect, defect=_defect(firm), note="Mended", by=firm.office),
    "amend": lambda firm: partial(
        amend_record,
        record=signed(firm).record,
        corrects="pH",
        was="7.4",
        becomes="7.3",
        reason="Slip",
        by=firm.technician,
    ),
}


def picture() -> dict[str, list[dict[str, Any]]]:
    """All rows of the room, as they stand."""
    return {model.__name__: list(model._default_manager.order_by("pk").values()) for model in TABLES}


@pytest.mark.parametrize("name", WRITES)
def test_a_write_whose_audit_row_fails_leaves_no_trace(
    in_firm: Firm, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    write = WRITES[name](in_firm)
    before = picture()

    def broken(**_: Any) -> None:
        raise OSError("the disk is full")

    for module in (editing, closures, defects):
        monkeypatch.setattr(module, "record_event", broken)
    monkeypatch.setattr("service.visits.amend.record_event", broken)
    with pytest.raises(OSError, match="disk is full"):
        write()

    assert picture() == before


@pytest.mark.parametrize("name", WRITES)
def test_a_write_adds_an_audit_row(in_firm: Firm, name: str) -> None:
    write = WRITES[name](in_firm)
    before = AuditEvent.objects.count()

    write()

    assert AuditEvent.objects.count() > before


def test_the_trail_holds_no_names_and_no_notes(in_firm: Firm) -> None:
    inspect(in_firm, started(in_firm), nobody_ill="Robin fell ill")
    signed(in_firm, in_firm.hidden_spa)

    trail = str(list(AuditEvent.objects.values_list("detail", flat=True)))
    assert "Robin" not in trail
    assert in_firm.technician.name not in trail
