"""Every state of a visit against every action: what goes, what is refused and how."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from PIL import Image

from service.visits.decide import decide
from service.visits.drafts import save_draft
from service.visits.editing import AlreadySigned, Refused
from service.visits.inspection import answer_inspection
from service.visits.models import Moment, Verdict, Visit, VisitState
from service.visits.open import end_without_signing, hand_over, start_visit
from service.visits.photos import add_photo
from service.visits.plan import cancel_visit, change_plan
from service.visits.readings import ReadingInput, record_readings
from service.visits.tasks import do_task, leave_task, take_on_task, tick_line
from service.visits.treatment import own_dose
from tests.factories import PersonFactory
from tests.personas import Firm
from tests.visits.working import GOOD, product, read, sign, started, with_plan

Act = Callable[[Firm, Visit], Any]


def _photo() -> SimpleUploadedFile:
    picture = BytesIO()
    Image.new("RGB", (8, 8)).save(picture, "PNG")
    return SimpleUploadedFile("a.png", picture.getvalue())


def _own_dose(firm: Firm, visit: Visit) -> Any:
    return own_dose(
        visit=visit,
        product=product(firm, "Bicarbonate"),
        mass_g=Decimal(5),
        reason="Low",
        by=firm.technician,
        expected_revision=None,
    )


def _hand_over(firm: Firm, visit: Visit) -> Any:
    other = PersonFactory(organisation=firm.organisation, roles=["technician"])
    return hand_over(visit=visit, to=other, reason="Sick", by=firm.technician)


def _sign(firm: Firm, visit: Visit) -> Any:
    due = timezone.now() + timedelta(hours=2)
    return sign(firm, visit, closed=True, retest_by="Us", retest_due=due)


def _by(firm: Firm) -> dict[str, Any]:
    return {"by": firm.technician, "expected_revision": None}


ACTIONS: dict[str, Act] = {
    "change plan": lambda firm, visit: change_plan(
        visit=visit, by=firm.office, expected_revision=visit.revision, sequence=2
    ),
    "cancel": lambda firm, visit: cancel_visit(visit=visit, reason="Rain", by=firm.office),
    "start": lambda firm, visit: start_visit(visit=visit, by=firm.technician),
    "end": lambda firm, visit: end_without_signing(
        visit=visit, state=VisitState.NO_ACCESS, reason="Locked", by=firm.technician
    ),
    "hand over": _hand_over,
    "inspect": lambda firm, visit: answer_inspection(
        visit=visit, answers={"clarity": ("yes", "")}, **_by(firm)
    ),
    "read": lambda firm, visit: record_readings(
        visit=visit, moment=Moment.BEFORE, readings=[ReadingInput("ph", "7.4")], **_by(firm)
    ),
    "decide": lambda firm, visit: decide(visit=visit, moment=Moment.BEFORE, by=firm.technician),
    "own dose": _own_dose,
    "take on task": lambda firm, visit: take_on_task(visit=visit, kind="cover", **_by(firm)),
    "do task": lambda firm, visit: do_task(visit=visit, kind="cover", **_by(firm)),
    "leave task": lambda firm, visit: leave_task(visit=visit, kind="cover", reason="Rain", **_by(firm)),
    "tick line": lambda firm, visit: tick_line(visit=visit, key="breaker_off", **_by(firm)),
    "add photo": lambda firm, visit: add_photo(
        visit=visit, upload=_photo(), about="", caption="", by=firm.technician
    ),
    "save draft": lambda firm, visit: save_draft(
        visit=visit, section="look", fields={"clarity": "n"}, by=firm.technician
    ),
    "sign": _sign,
}
AT_WORK = frozenset(ACTIONS) - {"change plan", "cancel"}
ALLOWED: dict[str, frozenset[str]] = {
    VisitState.PLANNED: frozenset({"change plan", "cancel", "start", "end", "hand over", "save draft"}),
    VisitState.ON_SITE: AT_WORK,
    VisitState.PART_DONE: frozenset({"start", "end", "hand over", "save draft"}),
    VisitState.SIGNED: frozenset(),
    VisitState.NO_ACCESS: frozenset({"save draft"}),
    VisitState.BATHERS: frozenset({"save draft"}),
    VisitState.REFUSED: frozenset({"save draft"}),
    VisitState.MISSED: frozenset({"save draft"}),
    VisitState.HANDED_OVER: frozenset({"save draft"}),
    VisitState.CANCELLED: frozenset({"save draft"}),
}


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


def in_state(firm: Firm, state: str) -> Visit:
    visit = read(firm, started(firm), GOOD)
    with_plan(visit, [])
    Visit.objects.filter(pk=visit.pk).update(
        state=state,
        end_reason="Laid out by a test",
        started_at=timezone.now(),
        ended_at=timezone.now(),
        verdict=Verdict.FIT_NOW if state == VisitState.SIGNED else "",
    )
    return Visit.objects.get(pk=visit.pk)


def test_the_table_knows_every_state() -> None:
    assert set(ALLOWED) == set(VisitState.values)


@pytest.mark.parametrize("action", ACTIONS)
@pytest.mark.parametrize("state", VisitState.values)
def test_an_action_goes_in_its_states_only(in_firm: Firm, state: str, action: str) -> None:
    visit = in_state(in_firm, state)

    if action in ALLOWED[state]:
        ACTIONS[action](in_firm, visit)
        return

    with pytest.raises(AlreadySigned if state == VisitState.SIGNED else Refused):
        ACTIONS[action](in_firm, visit)
    assert Visit.objects.get(pk=visit.pk).state == state
    assert Visit.objects.get(pk=visit.pk).revision == visit.revision
