"""What a record says of a visit, laid out so that it can be hashed, chained, and a person erased.

Every name and every text that somebody typed stands as a commitment (``Private``): such text may
name people. Figures, choices, times, products, batches, sources and digests stand open.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db.models import prefetch_related_objects

from accounts.models import Person
from service.chemistry.errors import InputError
from service.chemistry.guidelines import get
from service.visits.canonical import canonical, commit, digest, new_salt, plain
from service.visits.inspection import BY_KEY
from service.visits.models import (
    Closure,
    Decision,
    Defect,
    InspectionAnswer,
    PersonalDatum,
    Photo,
    Reading,
    Record,
    StepState,
    Task,
    TreatmentStep,
    Visit,
)
from service.visits.readings import instrument_remark

__all__ = [
    "FORMAT",
    "Private",
    "Written",
    "canonical",
    "commit",
    "content_of",
    "digest",
    "load_parts",
    "record_rows",
    "write_record",
]

FORMAT = "runnel visit record 1"
# Parts of a decision's findings that a reader needs to see what was judged, by which row.
_FINDING_KEYS = (
    "parameter",
    "value",
    "bound",
    "unit",
    "low",
    "high",
    "severity",
    "near_limit",
    "source",
    "verified",
    "row",
)


@dataclass
class Private:
    """The personal data of one record, by name: what stands in it is only a commitment to each."""

    data: dict[str, tuple[str, str]] = field(default_factory=dict)

    def keep(self, name: str, value: str) -> dict[str, str] | None:
        """Put a datum aside and return what stands for it in the record; None for an empty value."""
        if not value:
            return None
        salt = new_salt()
        self.data[name] = (salt, value)
        return {"name": name, "commitment": commit(salt, value)}


@dataclass(frozen=True)
class Written:
    """Content of a record with the personal data that it commits to."""

    content: dict[str, Any]
    private: Private


def content_of(
    visit: Visit, *, signed_by: Person, owner_signature: str = "", closures: Iterable[Closure] = ()
) -> Written:
    """The content of the record of a visit whose verdict has been set.

    owner_signature  The drawn signature as text (base64 of a PNG), "" when nobody drew one.
    closures         Closures that signing opened, renewed or ended.

    Salts are fresh at every call: two calls give different commitments to the same words. Asks nothing
    of a visit whose parts were loaded with ``load_parts``.
    """
    load_parts([visit])
    private = Private()
    people = _People(private)
    content = {
        "format": FORMAT,
        "organisation": {"id": str(visit.organisation_id), "name": visit.organisation.name},
        **_place(visit, private),
        "visit": _visit(visit, private),
        "verdict": _verdict(visit, private),
        "inspection": [_inspected(line, private) for line in visit.inspection.all()],
        "readings": _readings(visit, people),
        "decisions": [_decision(decision) for decision in _by_time(visit)],
        "steps": _steps(visit, people, private),
        "tasks": [_task(task, people, private) for task in visit.tasks.all()],
        "photos": [
            _photo(number, photo, people, private) for number, photo in enumerate(visit.photos.all(), start=1)
        ],
        "defects": [
            _defect(number, defect, private) for number, defect in enumerate(visit.defects.all(), start=1)
        ],
        "closures": [_closure(number, closure, private) for number, closure in enumerate(closures, start=1)],
        "signature": {
            "by": people.number(signed_by),
            "at": visit.ended_at,
            "method": "pin",
            "owner": private.keep("owner_signature", owner_signature),
        },
    }
    return Written({**plain(content), "people": people.written()}, private)


def load_parts(visits: Sequence[Visit]) -> None:
    """Load what records of the visits say, some queries for all of them; what is loaded is kept."""
    prefetch_related_objects(
        visits,
        "inspection",
        *(f"readings__{name}" for name in ("instrument", "taken_by", "organisation")),
        "decisions",
        *(f"steps__{name}" for name in ("decision", "product", "batch", "done_by")),
        "tasks__done_by",
        "photos__taken_by",
        "defects",
    )


def write_record(visit: Visit, written: Written, *, signed_by: Person) -> Record:
    """Keep the record and its personal data. Called by signing alone, inside its transaction."""
    record, private = record_rows(visit, written, signed_by=signed_by)
    record.save(force_insert=True)
    PersonalDatum.objects.bulk_create(private)
    return record


def record_rows(visit: Visit, written: Written, *, signed_by: Person) -> tuple[Record, list[PersonalDatum]]:
    """The rows of a record, not yet kept."""
    assert visit.ended_at is not None
    text = canonical(written.content)
    record = Record(
        organisation_id=visit.organisation_id,
        visit=visit,
        content=written.content,
        canonical=text,
        digest=digest(text),
        signed_at=visit.ended_at,
        signed_by=signed_by,
    )
    return record, [
        PersonalDatum(organisation_id=visit.organisation_id, record=record, name=name, salt=salt, value=value)
        for name, (salt, value) in written.private.data.items()
    ]


class _People:
    """Numbers people in the order they are met; their names are personal data."""

    def __init__(self, private: Private) -> None:
        self.private = private
        self.found: dict[str, tuple[int, dict[str, str] | None]] = {}

    def number(self, person: Person | None) -> int | None:
        if person is None:
            return None
        key = str(person.pk)
        if key not in self.found:
            place = len(self.found) + 1
            self.found[key] = (place, self.private.keep(f"person.{place}", person.name))
        return self.found[key][0]

    def written(self) -> list[dict[str, Any]]:
        return [{"number": place, "name": name} for place, name in self.found.values()]


def _place(visit: Visit, private: Private) -> dict[str, Any]:
    spa, site = visit.spa, visit.spa.site
    return {
        "client": {"id": str(site.client_id), "name": private.keep("client", site.client.name)},
        "site": {
            "id": str(site.pk),
            "name": private.keep("site", site.name),
            "address": private.keep("site_address", site.address),
        },
        "spa": {
            "id": str(spa.pk),
            "name": private.keep("spa", spa.name),
            "volume_l": spa.volume_l,
            "volume_basis": spa.volume_basis,
            "shell": spa.shell,
            "sanitiser": spa.sanitiser,
            "setting": spa.setting,
            "supply_water": spa.site.supply_water,
        },
        "guideline": _guideline(spa.guideline_in_force()),
    }


def _guideline(guideline_id: str) -> dict[str, Any]:
    try:
        found = get(guideline_id)
    except InputError:
        return {"id": guideline_id}
    return {
        "id": found.id,
        "title": found.title,
        "document": found.document,
        "edition": found.edition,
        "level": found.level,
    }


def _visit(visit: Visit, private: Private) -> dict[str, Any]:
    return {
        "id": str(visit.pk),
        "kind": visit.kind,
        "planned_on": visit.planned_on,
        "started_at": visit.started_at,
        "changeover": visit.changeover,
        "bathers_expected": visit.bathers_expected,
        "instructions": private.keep("instructions", visit.instructions),
        "revision": visit.revision,
    }


def _verdict(visit: Visit, private: Private) -> dict[str, Any]:
    return {
        "verdict": visit.verdict,
        "tested_at": visit.tested_at,
        "fit_from": visit.fit_from,
        "holds_until": visit.holds_until,
        "retest_by": private.keep("retest_by", visit.retest_by),
        "retest_due": visit.retest_due,
        "note_to_owner": private.keep("note_to_owner", visit.note_to_owner),
    }


def _inspected(line: InspectionAnswer, private: Private) -> dict[str, Any]:
    return {
        "item": line.item,
        "question": BY_KEY[line.item].question,
        "answer": line.answer,
        "note": private.keep(f"inspection.{line.item}", line.note),
    }


def _readings(visit: Visit, people: _People) -> list[dict[str, Any]]:
    return [_reading(reading, people) for reading in visit.readings.all()]


def _reading(reading: Reading, people: _People) -> dict[str, Any]:
    return {
        "parameter": reading.parameter,
        "moment": reading.moment,
        "typed": reading.typed,
        "typed_unit": reading.typed_unit,
        "value": reading.value,
        "bound": reading.bound,
        "dilution_factor": reading.dilution_factor,
        "converted_from": reading.converted_from,
        "method": reading.method,
        "plus_minus": reading.plus_minus,
        "instrument": _instrument(reading),
        "taken_at": reading.taken_at,
        "taken_by": people.number(reading.taken_by),
        "governs": reading.governs,
    }


def _instrument(reading: Reading) -> dict[str, Any] | None:
    instrument = reading.instrument
    if instrument is None:
        return None
    return {
        "name": instrument.name,
        "serial": instrument.serial,
        "checked_on": instrument.checked_on,
        "check_due_on": instrument.check_due_on,
        "reagent_lot": instrument.reagent_lot,
        "reagent_expires_on": instrument.reagent_expires_on,
        "remark": instrument_remark(reading),
    }


def _by_time(visit: Visit) -> list[Decision]:
    return list(visit.decisions.all())[::-1]


def _decision(decision: Decision) -> dict[str, Any]:
    response = decision.response
    return {
        "moment": decision.moment,
        "made_at": decision.made_at,
        "engine_version": decision.engine_version,
        "request_digest": digest(canonical(plain(decision.request))),
        "response_digest": digest(canonical(plain(response))),
        "fit_for_use": response["fit_for_use"],
        "verdict": response["verdict"],
        "findings": [_cited(finding) for finding in response["findings"]],
        "unmet": [{"parameter": item["parameter"], "reason": item["reason"]} for item in response["unmet"]],
    }


def _cited(finding: Mapping[str, Any]) -> dict[str, Any]:
    return {key: _figure(finding.get(key)) for key in _FINDING_KEYS}


def _figure(value: Any) -> Any:
    """A figure as text, whole or not; everything else as it is."""
    return str(value) if isinstance(value, int | float) and not isinstance(value, bool) else value


def _steps(visit: Visit, people: _People, private: Private) -> list[dict[str, Any]]:
    return [_step(number, step, people, private) for number, step in enumerate(visit.steps.all(), start=1)]


def _step(number: int, step: TreatmentStep, people: _People, private: Private) -> dict[str, Any]:
    state = "left_for_later" if step.state == StepState.PLANNED else step.state
    return {
        "number": number,
        "order": step.order,
        "action": step.action,
        "purpose": step.planned.get("purpose"),
        "state": state,
        "product": _product(step),
        "batch": step.batch.code if step.batch else None,
        "batch_expires_on": step.batch.expires_on if step.batch else None,
        "planned_mass_g": step.planned_mass_g,
        "actual_mass_g": step.actual_mass_g,
        "parameters": list(step.planned.get("parameters") or ()),
        "replace_fraction": step.planned.get("replace_fraction"),
        "done_at": step.done_at,
        "wait_until": step.wait_until,
        "done_by": people.number(step.done_by),
        "reason": private.keep(f"step.{number}.reason", step.reason),
    }


def _product(step: TreatmentStep) -> dict[str, Any] | None:
    product = step.product
    if product is None:
        return None
    return {
        "name": product.name,
        "substance": product.substance,
        "active_fraction": product.active_fraction,
        "form": product.form,
    }


def _task(task: Task, people: _People, private: Private) -> dict[str, Any]:
    lines = [
        {
            "line": key,
            "at": line["at"],
            "passed": bool(line["skipped"]),
            "reason": private.keep(f"line.{key}", line["skipped"]),
        }
        for key, line in task.lines_done.items()
    ]
    return {
        "kind": task.kind,
        "why": task.why,
        "state": task.state,
        "done_at": task.done_at,
        "done_by": people.number(task.done_by),
        "note": private.keep(f"task.{task.kind}", task.note),
        "lines": lines,
    }


def _photo(number: int, photo: Photo, people: _People, private: Private) -> dict[str, Any]:
    return {
        "sha256": photo.digest,
        "about": photo.about,
        "taken_at": photo.taken_at,
        "taken_by": people.number(photo.taken_by),
        "caption": private.keep(f"photo.{number}.caption", photo.caption),
    }


def _defect(number: int, defect: Defect, private: Private) -> dict[str, Any]:
    return {
        "item": defect.item,
        "severity": defect.severity,
        "description": private.keep(f"defect.{number}", defect.description),
    }


def _closure(number: int, closure: Closure, private: Private) -> dict[str, Any]:
    return {
        "closed_at": closure.closed_at,
        "reopened_at": closure.reopened_at,
        "reason": private.keep(f"closure.{number}.reason", closure.reason),
    }
