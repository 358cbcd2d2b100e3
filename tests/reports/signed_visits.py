"""Signed visits laid out row by row, of any size, without the engine having to agree to them."""

import base64
import hashlib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from io import BytesIO
from typing import Any

from django.core.files.base import ContentFile
from PIL import Image, ImageDraw

from accounts.models import Person
from service.sites.models import Spa
from service.stock.models import Instrument, Method
from service.visits.inspection import ITEMS
from service.visits.judging import judge_readings
from service.visits.models import (
    Amendment,
    Closure,
    Decision,
    Defect,
    InspectionAnswer,
    Moment,
    Photo,
    Reading,
    Record,
    StepState,
    Task,
    TaskState,
    TreatmentStep,
    Verdict,
    Visit,
    VisitState,
)
from service.visits.parameters import BY_PARAMETER
from service.visits.record import content_of, write_record
from tests.factories import BatchFactory, ProductFactory, VisitFactory

SIGNED = datetime(2026, 6, 3, 9, 40, tzinfo=UTC)
GOOD = {
    "free_chlorine_mg_l": "4.0",
    "total_chlorine_mg_l": "4.2",
    "ph": "7.4",
    "temperature_c": "38.0",
    "total_alkalinity_mg_l": "100",
    "calcium_hardness_mg_l": "180",
}


def signed_visit(
    firm: Any,
    spa: Spa | None = None,
    *,
    at: datetime = SIGNED,
    by: Person | None = None,
    before: Mapping[str, str] = GOOD,
    after: Mapping[str, str] | None = None,
    doses: Sequence[Mapping[str, Any]] = (),
    tasks: Sequence[Mapping[str, Any]] = (),
    no: Mapping[str, str] | None = None,
    photos: Sequence[Mapping[str, Any]] = (),
    defects: Sequence[Mapping[str, Any]] = (),
    verdict: str = Verdict.FIT_NOW,
    instrument: Instrument | None = None,
    closure: str = "",
    owner_signature: bytes = b"",
    **fields: Any,
) -> Record:
    """A visit of ``firm`` signed at ``at`` with what is given, and its record."""
    spa, by = spa or firm.spa, by or firm.technician
    visit = VisitFactory(
        spa=spa, technician=by, planned_on=at.date(), started_at=at - timedelta(minutes=40), **fields
    )
    _read(visit, Moment.BEFORE, before, by, at - timedelta(minutes=30), instrument)
    _answer(visit, no or {})
    decision = _decide(visit, Moment.BEFORE, at - timedelta(minutes=28)) if before else None
    if doses:
        _dose(visit, decision or _decide(visit, Moment.BEFORE, at), doses, by, at)
    if after:
        _read(visit, Moment.AFTER, after, by, at - timedelta(minutes=5), instrument)
        _decide(visit, Moment.AFTER, at - timedelta(minutes=4))
    _jobs(visit, tasks, by, at)
    for number, photo in enumerate(photos, start=1):
        add_photo(visit, by, number, at, **photo)
    for defect in defects:
        Defect.objects.create(
            organisation=visit.organisation, spa=spa, visit=visit, found_by=by, found_at=at, **defect
        )
    return _sign(visit, by, at, verdict, closure, owner_signature)


def amended(record: Record, by: Person, at: datetime, **fields: str) -> Amendment:
    words = {"was": "7.4", "becomes": "7.6", "reason": "Misread", "corrects": "pH, before dosing"}
    return Amendment.objects.create(
        organisation=record.organisation, record=record, made_by=by, made_at=at, **{**words, **fields}
    )


def picture(number: int = 1, size: tuple[int, int] = (1600, 1200)) -> bytes:
    """A JPEG that looks like something, as the upload leaves it."""
    image = Image.new("RGB", size, (60 + number * 13 % 150, 120, 140))
    draw = ImageDraw.Draw(image)
    for step in range(0, size[0], 40):
        draw.line([(step, 0), (size[0] - step, size[1])], fill=(step % 255, number * 40 % 255, 90), width=6)
    written = BytesIO()
    image.save(written, "JPEG", quality=80)
    return written.getvalue()


def drawn_signature() -> bytes:
    image = Image.new("L", (600, 200), "white")
    ImageDraw.Draw(image).line([(20, 150), (150, 40), (260, 160), (420, 60), (580, 120)], fill=0, width=6)
    written = BytesIO()
    image.save(written, "PNG")
    return written.getvalue()


def add_photo(
    visit: Visit,
    by: Person,
    number: int = 1,
    at: datetime = SIGNED,
    *,
    caption: str = "",
    about: str = "",
    size: tuple[int, int] = (1600, 1200),
) -> Photo:
    taken = picture(number, size)
    photo = Photo(
        organisation=visit.organisation,
        visit=visit,
        digest=hashlib.sha256(taken).hexdigest(),
        caption=caption,
        about=about,
        taken_by=by,
        taken_at=at + timedelta(seconds=number),
    )
    photo.file.save("photo.jpg", ContentFile(taken), save=False)
    photo.save()
    return photo


def _read(
    visit: Visit,
    moment: str,
    values: Mapping[str, str],
    by: Person,
    at: datetime,
    instrument: Instrument | None,
) -> None:
    for place, (parameter, typed) in enumerate(values.items()):
        bound = typed[0] if typed[0] in "<>" else ""
        number = typed.lstrip("<>")
        Reading.objects.create(
            organisation=visit.organisation,
            visit=visit,
            parameter=parameter,
            moment=moment,
            typed=number,
            typed_unit=BY_PARAMETER[parameter].unit,
            value=Decimal(number),
            bound=bound,
            method=Method.PHOTOMETER,
            instrument=instrument,
            plus_minus=Decimal("0.1") if parameter == "ph" else None,
            taken_at=at + timedelta(seconds=place),
            taken_by=by,
        )


def _answer(visit: Visit, no: Mapping[str, str]) -> None:
    for item in ITEMS:
        InspectionAnswer.objects.create(
            organisation=visit.organisation,
            visit=visit,
            item=item.key,
            answer="no" if item.key in no else "yes",
            note=no.get(item.key, ""),
        )


def _decide(visit: Visit, moment: str, at: datetime) -> Decision:
    """What the guideline finds in the readings of the moment: the real judging, no plan."""
    fresh = Visit.objects.select_related("spa__site__client", "spa__organisation", "organisation").get(
        pk=visit.pk
    )
    judged = judge_readings(fresh, Reading.objects.filter(visit=visit, moment=moment, governs=True))
    return Decision.objects.create(
        organisation=visit.organisation,
        visit=visit,
        moment=moment,
        made_at=at,
        request={},
        response={
            "fit_for_use": judged.fit,
            "verdict": "fit_now" if judged.fit else "closed_until_retest",
            "findings": list(judged.findings),
            "unmet": [],
        },
        engine_version="laid out by a test",
    )


def _dose(
    visit: Visit, decision: Decision, doses: Sequence[Mapping[str, Any]], by: Person, at: datetime
) -> None:
    for order, dose in enumerate(doses, start=1):
        given = dict(dose)
        name = given.pop("product", "")
        product = batch = None
        if name:
            product = ProductFactory(
                organisation=visit.organisation, name=name, substance=given.pop("substance")
            )
            batch = BatchFactory(product=product, code=f"{name[:3].upper()}-{order:02}")
        state = given.pop("state", StepState.DONE)
        done = at - timedelta(minutes=25 - order) if state == StepState.DONE else None
        TreatmentStep.objects.create(
            organisation=visit.organisation,
            visit=visit,
            decision=decision,
            order=order,
            action="add" if name else given.pop("action"),
            planned={"purpose": given.pop("purpose", ""), "replace_fraction": given.pop("share", None)},
            product=product,
            batch=batch,
            planned_mass_g=Decimal(given.pop("planned")) if name else None,
            actual_mass_g=Decimal(given.pop("actual")) if name and state == StepState.DONE else None,
            state=state,
            done_at=done,
            wait_until=done + timedelta(minutes=15) if done and name else None,
            done_by=by if done else None,
            **given,
        )


def _jobs(visit: Visit, tasks: Sequence[Mapping[str, Any]], by: Person, at: datetime) -> None:
    for task in tasks:
        given = {"state": TaskState.DONE, **task}
        done = given["state"] == TaskState.DONE
        Task.objects.create(
            organisation=visit.organisation,
            visit=visit,
            done_at=at if done else None,
            done_by=by if done else None,
            **given,
        )


def _sign(
    visit: Visit, by: Person, at: datetime, verdict: str, closure: str, owner_signature: bytes
) -> Record:
    visit.verdict, visit.ended_at, visit.tested_at = verdict, at, at - timedelta(minutes=30)
    if verdict != Verdict.CLOSED_UNTIL_RETEST:
        visit.holds_until = at + timedelta(hours=24)
    if verdict == Verdict.FIT_FROM:
        visit.fit_from = at + timedelta(minutes=50)
    visit.save()
    closures = []
    if closure:
        closures.append(
            Closure.objects.create(
                organisation=visit.organisation,
                spa=visit.spa,
                visit=visit,
                reason=closure,
                closed_at=at,
                renewed_at=at,
                closed_by=by,
            )
        )
    drawn = base64.b64encode(owner_signature).decode() if owner_signature else ""
    written = content_of(visit, signed_by=by, owner_signature=drawn, closures=closures)
    record = write_record(visit, written, signed_by=by)
    visit.state = VisitState.SIGNED
    visit.save()
    return record
