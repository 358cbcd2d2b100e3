"""Tests of the water, saved as typed.

Saving is wider than solving: 48 °C or pH 4 is a reading like any other; what it means is for the
decision. Refused is only what no test can show, or what was plainly mistyped.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from accounts.models import Person
from service.chemistry.uncertainty import strip_pad
from service.sites.models import Spa
from service.stock.models import Instrument, Method
from service.visits.changes import last_change
from service.visits.clock import day_of, lies_ahead, zone_of
from service.visits.editing import Refused, edit, note
from service.visits.models import (
    Bound,
    Moment,
    Reading,
    StepState,
    TreatmentStep,
    Visit,
    VisitState,
    WithdrawnReading,
)
from service.visits.parameters import BY_PARAMETER, TESTS, Test, tests_for
from service.visits.wording import needed

__all__ = [
    "BY_PARAMETER",
    "TESTS",
    "ReadingInput",
    "Test",
    "choose_governing",
    "conversion_remark",
    "instrument_remark",
    "previous_readings",
    "record_readings",
    "tests_for",
    "withdraw_reading",
]

HALOGENS = {"free_chlorine_mg_l": "chlorine", "total_bromine_mg_l": "bromine"}
FOUR_PLACES = Decimal("0.0001")
LARGEST_DILUTION = 100
PREVIOUS_LOOKED_AT = 200
_TYPED = re.compile(r"([<>]?)\s*(-?\d{1,9}(?:[.,]\d{1,4})?)")


@dataclass(frozen=True)
class ReadingInput:
    """One field of the test, as typed. An empty value is "not measured" and changes nothing.

    value            "7,4", "7.4", "<0.1" or ">10".
    unit             "" or the parameter's own; "°F" for a temperature; "ppm" for mg/L.
    bound            "<" or ">" when the test could only say so; may also stand in ``value``.
    dilution_factor  5 for one part of the sample in five parts.
    pad              For a strip: "chlorine" or "bromine", the printed scale it was read on, when
                     that is not the spa's own.
    repeat           A further test of what was read already: both stay, this one governs. Without
                     it a different value corrects the reading that governs.
    """

    parameter: str
    value: str
    unit: str = ""
    bound: str = ""
    dilution_factor: str = "1"
    method: str = ""
    instrument: Instrument | None = None
    plus_minus: str = ""
    taken_at: datetime | None = None
    pad: str = ""
    repeat: bool = False


@transaction.atomic
def record_readings(
    *,
    visit: Visit,
    moment: str,
    readings: Sequence[ReadingInput],
    by: Person,
    expected_revision: int | None,
) -> list[Reading]:
    """Save readings of one moment; returns those that were given, as they stand now.

    The same reading sent twice is one reading. After something was added to the water a value given
    for ``Moment.AFTER`` is always a new reading. A retest step is done once all it asks for is read.

    Raises ValidationError by parameter, NotAllowed, AlreadySigned, Changed, Refused.
    """
    row = edit(visit, by=by, expected_revision=expected_revision)
    prepared = _prepared(row, readings)
    change = last_change(row) if moment == Moment.AFTER else None
    standing = {
        reading.parameter: reading
        for reading in Reading.objects.filter(visit=row, moment=moment, governs=True)
    }
    saved = []
    for fields, repeat in prepared:
        current = standing.get(str(fields["parameter"]))
        saved.append(_save(row, moment, current, fields, repeat=repeat, change=change, by=by))
    if moment == Moment.AFTER:
        _tick_retests(row, by)
    typed = {reading.parameter: _as_typed(reading) for reading in saved}
    note(row, "visit.readings_recorded", by=by, moment=moment, typed=typed)
    return saved


@transaction.atomic
def withdraw_reading(*, reading: Reading, reason: str, by: Person, expected_revision: int | None) -> None:
    """Take back a reading that was typed by mistake. It is judged no more and not on the record; what it
    said and why it went stay with the visit, and the audit trail keeps its figure.

    An earlier reading of the same parameter and moment governs again.

    Raises ValidationError for ``reason``, NotAllowed, AlreadySigned, Changed, Refused.
    """
    row = edit(reading.visit, by=by, expected_revision=expected_revision)
    why = needed(reason, "reason", "Say why the reading is taken back.")
    figure = _as_typed(reading)
    WithdrawnReading.objects.create(
        organisation_id=row.organisation_id,
        visit=row,
        parameter=reading.parameter,
        moment=reading.moment,
        figure=figure,
        taken_at=reading.taken_at,
        reason=why,
        withdrawn_by=by,
    )
    same = Reading.objects.filter(visit=row, parameter=reading.parameter, moment=reading.moment)
    Reading.objects.filter(pk=reading.pk).delete()
    if not same.filter(governs=True).exists() and (earlier := same.last()):
        Reading.objects.filter(pk=earlier.pk).update(governs=True)
    note(row, "visit.reading_withdrawn", by=by, parameter=reading.parameter, figure=figure)


@transaction.atomic
def choose_governing(*, reading: Reading, by: Person, expected_revision: int | None = None) -> Reading:
    """Let one of several readings of a parameter be the one that is judged; all stay on the record."""
    row = edit(reading.visit, by=by, expected_revision=expected_revision)
    others = Reading.objects.filter(visit=row, parameter=reading.parameter, moment=reading.moment)
    others.exclude(pk=reading.pk).update(governs=False)
    Reading.objects.filter(pk=reading.pk).update(governs=True)
    note(row, "visit.governing_chosen", by=by, parameter=reading.parameter, moment=reading.moment)
    reading.refresh_from_db()
    return reading


def previous_readings(spa: Spa, before: Visit) -> dict[str, Reading]:
    """The last reading of each parameter from signed visits other than ``before``; one query.

    The value that stood at the end of its visit: after dosing where it was read again.
    """
    readings = (
        Reading.objects.filter(visit__spa=spa, governs=True, visit__state=VisitState.SIGNED)
        .exclude(visit=before.pk)
        .order_by("-taken_at", "-moment")
        .select_related("visit")[:PREVIOUS_LOOKED_AT]
    )
    latest: dict[str, Reading] = {}
    for reading in readings:
        latest.setdefault(reading.parameter, reading)
    return latest


def instrument_remark(reading: Reading) -> str:
    """What has to be said of the instrument: its check or its reagent was overdue; "" when neither."""
    instrument = reading.instrument
    if instrument is None:
        return ""
    day = day_of(reading.taken_at, zone_of(reading.organisation))
    remarks = []
    if instrument.check_due_on and instrument.check_due_on < day:
        due = instrument.check_due_on
        remarks.append(f"{instrument.name}: its check was due on {due.day} {due:%b %Y}.")
    if instrument.reagent_expires_on and instrument.reagent_expires_on < day:
        end = instrument.reagent_expires_on
        remarks.append(f"{instrument.name}: its reagent or strips were good until {end.day} {end:%b %Y}.")
    return " ".join(remarks)


def conversion_remark(reading: Reading) -> str:
    """What has to be said of a strip's pad that was read on the other halogen's scale."""
    if not reading.converted_from:
        return ""
    other, own = HALOGENS[reading.converted_from], HALOGENS[reading.parameter]
    value = Decimal(reading.typed) * reading.dilution_factor
    return strip_pad(value.normalize(), scale=other, sanitiser=own).note


def _as_typed(reading: Reading) -> str:
    return f"{reading.bound}{reading.typed} {reading.typed_unit}".rstrip()


def _prepared(visit: Visit, readings: Iterable[ReadingInput]) -> list[tuple[dict[str, Any], bool]]:
    """The rows' fields of everything that was typed. Raises ValidationError by parameter."""
    errors: dict[str, str] = {}
    prepared = []
    for item in readings:
        if not item.value.strip():
            continue
        try:
            prepared.append((_fields(visit, item), item.repeat))
        except Refused as wrong:
            errors[item.parameter] = str(wrong)
    if errors:
        raise ValidationError(errors)
    return prepared


def _fields(visit: Visit, item: ReadingInput) -> dict[str, Any]:
    test = BY_PARAMETER.get(item.parameter)
    if test is None:
        raise Refused("This test is not known.")
    bound, typed = typed_number(test, item.value, item.bound)
    factor = _dilution(test, item)
    method = item.method or (item.instrument.method if item.instrument else "")
    if method and method not in Method.values:
        raise Refused("Choose a method from the list.")
    parameter, value, converted_from = _converted(visit, test, item, method, typed, factor)
    check_range(test, value if not converted_from else typed * factor)
    return {
        "parameter": parameter,
        "typed": f"{typed}",
        "typed_unit": item.unit or test.unit,
        "value": value.quantize(FOUR_PLACES),
        "bound": bound,
        "dilution_factor": factor,
        "method": method,
        "instrument": item.instrument,
        "plus_minus": _plus_minus(item),
        "converted_from": converted_from,
        "taken_at": _time(item),
    }


def typed_number(test: Test, typed: str, bound: str = "") -> tuple[str, Decimal]:
    """Bound and figure of what was typed: "<0,1" is ("<", 0.1). Raises Refused."""
    match = _TYPED.fullmatch(typed.strip())
    if match is None:
        raise Refused(f"{test.label} must be a number {test.range_words}, with at most 4 decimals.")
    bound = match[1] or bound
    if bound and bound not in Bound.values:
        raise Refused("A reading is below (<) or above (>) what the test can show, or neither.")
    return bound, Decimal(match[2].replace(",", "."))


def _dilution(test: Test, item: ReadingInput) -> Decimal:
    match = _TYPED.fullmatch(item.dilution_factor.strip() or "1")
    factor = Decimal(match[2].replace(",", ".")) if match and not match[1] else Decimal(0)
    if not 1 <= factor <= LARGEST_DILUTION or factor != factor.quantize(Decimal("0.01")):
        raise Refused(f"A sample is diluted from 1 to {LARGEST_DILUTION} times, with at most 2 decimals.")
    if factor != 1 and not test.dilutable:
        raise Refused(f"{test.label} cannot be read on a diluted sample.")
    return factor


def _converted(
    visit: Visit, test: Test, item: ReadingInput, method: str, typed: Decimal, factor: Decimal
) -> tuple[str, Decimal, str]:
    """Parameter and value in its own unit, and the parameter whose scale it was read on if another."""
    if item.unit == "°F" and test.parameter == "temperature_c":
        return test.parameter, (typed - 32) * 5 / 9, ""
    if item.unit not in ("", test.unit) and not (item.unit == "ppm" and test.unit == "mg/L"):
        raise Refused(f"{test.label} is read in {test.unit or 'no unit'}.")
    own, scale = visit.spa.sanitiser, item.pad or HALOGENS.get(test.parameter, "")
    if method != Method.STRIP or test.parameter not in HALOGENS or own not in HALOGENS.values():
        return test.parameter, typed * factor, ""
    if scale not in HALOGENS.values():
        raise Refused("A strip is read on its chlorine or its bromine scale.")
    read = strip_pad(typed * factor, scale=scale, sanitiser=own)
    other = next(name for name, halogen in HALOGENS.items() if halogen == scale)
    return read.parameter, read.value, other if read.converted else ""


def check_range(test: Test, value: Decimal) -> None:
    """Refuse what no tub can read, with the range and its unit. Raises Refused."""
    if not test.low <= value <= test.high:
        raise Refused(f"{test.label} must be {test.range_words}. Not measured? Leave it empty.")


def _plus_minus(item: ReadingInput) -> Decimal | None:
    typed = item.plus_minus.strip()
    if not typed and item.instrument:
        typed = str(item.instrument.plus_minus.get(item.parameter, ""))
    if not typed:
        return None
    match = _TYPED.fullmatch(typed)
    if match is None or match[1] or match[2].startswith("-"):
        raise Refused("± must be a number of 0 or more, in the reading's unit.")
    return Decimal(match[2].replace(",", "."))


def _time(item: ReadingInput) -> datetime | None:
    if lies_ahead(item.taken_at):
        raise Refused("A test cannot lie in the future.")
    return item.taken_at


def _save(
    visit: Visit,
    moment: str,
    current: Reading | None,
    fields: dict[str, Any],
    *,
    repeat: bool,
    change: datetime | None,
    by: Person,
) -> Reading:
    given = {name: value for name, value in fields.items() if name != "taken_at"}
    outdated = current is not None and change is not None and current.taken_at <= change
    if current is not None and not repeat and not outdated:
        return _corrected(current, given, fields["taken_at"], by)
    if current is not None:
        Reading.objects.filter(pk=current.pk).update(governs=False)
    return Reading.objects.create(
        organisation_id=visit.organisation_id,
        visit=visit,
        moment=moment,
        taken_by=by,
        taken_at=fields["taken_at"] or timezone.now(),
        **given,
    )


def _corrected(current: Reading, given: dict[str, Any], taken_at: datetime | None, by: Person) -> Reading:
    """The reading with what was mistyped put right; its time stays unless another is given."""
    changed = {name: value for name, value in given.items() if getattr(current, name) != value}
    if taken_at is not None and taken_at != current.taken_at:
        changed["taken_at"] = taken_at
    if not changed:
        return current
    for name, value in {**changed, "taken_by": by}.items():
        setattr(current, name, value)
    current.save(update_fields=[*changed, "taken_by"])
    return current


def _tick_retests(visit: Visit, by: Person) -> None:
    """Retest steps whose turn it is and whose parameters have all been read since the last dose."""
    change = last_change(visit)
    after = Reading.objects.filter(visit=visit, moment=Moment.AFTER, governs=True)
    if change is not None:
        after = after.filter(taken_at__gt=change)
    read = set(after.values_list("parameter", flat=True))
    for step in TreatmentStep.objects.filter(visit=visit, state=StepState.PLANNED):
        if step.action != "retest" or not set(step.planned.get("parameters", ())) <= read:
            return
        step.state, step.done_at, step.done_by = StepState.DONE, timezone.now(), by
        step.save(update_fields=["state", "done_at", "done_by"])
