"""The demonstration's past read back in bulk; the product's own code makes a record of every signed visit."""

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import Any

from django.db import models

from service.demo.past import CORRECTION, SIGNED_CLOSURE, TABLES, VISIT, Names
from service.sites.models import Spa
from service.visits.inspection import ITEMS
from service.visits.models import (
    Amendment,
    Answer,
    Closure,
    Decision,
    InspectionAnswer,
    PersonalDatum,
    Record,
    Visit,
    VisitState,
)
from service.visits.record import content_of, load_parts, record_rows

ROWS_AT_ONCE = 400
_MOMENT = re.compile(r'"@(-?\d+)T([\d:.]+)"')
_DAY = re.compile(r'"@(-?\d+)"')
_DAY_IN_WORDS = re.compile(r"@(-?\d+)(d?)@")
_PRODUCT = re.compile(r"#(product [^#\"]+)#")
_Places = Mapping[str, Sequence[Any]]
_NOWHERE: _Places = MappingProxyType({})


@dataclass
class _Signed:
    """A visit whose record is to be made: the closures it named, its corrections."""

    visit: Visit
    closures: list[Closure]
    corrections: list[dict[str, Any]]


def read_back(spas: Mapping[str, Any], names: Names) -> int:
    """Write the rows of a firm's spas to the database. Returns the number of visits.

    spas  By the scenario's keys, as the file keeps them.

    Call on a firm without visits, in scope and in one transaction.
    """
    content = json.loads(_dated(json.dumps(spas, ensure_ascii=False), names))
    batch = _Batch(names)
    for key, rows in content.items():
        batch.add(names.spas[key], rows)
    batch.save()
    return len(batch.visits)


def _dated(text: str, names: Names) -> str:
    """The text with the days on which the file's days fall today, and keys of products for their names."""

    def moment(found: re.Match[str]) -> str:
        day = names.today + timedelta(days=int(found[1]))
        at = datetime.combine(day, time.fromisoformat(found[2]), names.zone)
        return f'"{at.astimezone(UTC).isoformat()}"'

    def day(found: re.Match[str]) -> str:
        return f'"{names.today + timedelta(days=int(found[1]))}"'

    def words(found: re.Match[str]) -> str:
        at = names.today + timedelta(days=int(found[1]))
        return f"{at.day} {at:%b}" if found[2] else f"{at.day} {at:%b %Y}"

    text = _DAY_IN_WORDS.sub(words, _DAY.sub(day, _MOMENT.sub(moment, text)))
    return _PRODUCT.sub(lambda found: str(names.products[found[1]].pk), text)


class _Batch:
    """Rows of many spas, gathered first and then written table by table."""

    def __init__(self, names: Names) -> None:
        self.names, self.named = names, names.rows
        self.visits: list[Visit] = []
        self.signed: list[_Signed] = []
        self.answers: list[InspectionAnswer] = []
        self.rows: dict[type[models.Model], list[Any]] = {model: [] for model, _ in TABLES.values()}

    def add(self, spa: Spa, told: Mapping[str, Any]) -> None:
        visits = [self._row(Visit, VISIT, values, spa=spa) for values in told["visits"]]
        self.visits += visits
        model, columns = TABLES["decisions"]
        decisions = [self._row(model, columns, values, {"visit": visits}) for values in told["decisions"]]
        self.rows[model] += decisions
        places = {"visit": visits, "reopened_visit": visits, "decision": decisions}
        for name, (model, columns) in TABLES.items():
            if model is not Decision:
                about = {"spa": spa} if model is Closure else {}
                self.rows[model] += [
                    self._row(model, columns, values, places, **about) for values in told[name]
                ]
        self._sign_later(spa, visits, told)

    def _sign_later(self, spa: Spa, visits: Sequence[Visit], told: Mapping[str, Any]) -> None:
        said = {(place, item): (answer, note) for place, item, answer, note in told["answers"]}
        for place, (visit, closures) in enumerate(zip(visits, told["signed"], strict=True)):
            if closures is None:
                continue
            named = [self._row(Closure, SIGNED_CLOSURE, values, spa=spa) for values in closures]
            corrected = [values[1:] for values in told["corrected"] if values[0] == place]
            corrections = [self._fields(Amendment, CORRECTION, values) for values in corrected]
            self.signed.append(_Signed(visit, named, corrections))
            for item in ITEMS:
                answer, note = said.get((place, item.key), (Answer.YES, ""))
                line = InspectionAnswer(visit=visit, item=item.key, answer=answer, note=note)
                line.organisation_id = visit.organisation_id
                self.answers.append(line)

    def save(self) -> None:
        """Visits first as planned: one that is signed takes nothing any more."""
        for one in self.signed:
            one.visit.state = VisitState.PLANNED
        Visit.objects.bulk_create(self.visits, batch_size=ROWS_AT_ONCE)
        InspectionAnswer.objects.bulk_create(self.answers, batch_size=ROWS_AT_ONCE)
        decisions_first = sorted(self.rows, key=lambda model: model is not Decision)
        for model in decisions_first:
            model._default_manager.bulk_create(self.rows[model], batch_size=ROWS_AT_ONCE)
        for start in range(0, len(self.signed), ROWS_AT_ONCE):
            _sign(self.signed[start : start + ROWS_AT_ONCE])

    def _row(
        self,
        model: Any,
        columns: tuple[str, ...],
        values: Iterable[Any],
        places: _Places = _NOWHERE,
        **more: Any,
    ) -> Any:
        fields = self._fields(model, columns, values, places)
        return model(organisation=self.names.organisation, **more, **fields)

    def _fields(
        self, model: Any, columns: tuple[str, ...], values: Iterable[Any], places: _Places = _NOWHERE
    ) -> dict[str, Any]:
        pairs = zip(_columns(model, columns), values, strict=True)
        return {column.name: self._value(column, value, places) for column, value in pairs}

    def _value(self, column: Any, value: Any, places: _Places) -> Any:
        if value is None:
            return None
        if column.name in places:
            return places[column.name][value]
        if column.is_relation:
            return self.named[value]
        if isinstance(column, models.DateTimeField):
            return datetime.fromisoformat(value)
        if isinstance(column, models.DateField | models.TimeField):
            return column.to_python(value)
        return Decimal(value) if isinstance(column, models.DecimalField) else value


@cache
def _columns(model: Any, names: tuple[str, ...]) -> list[Any]:
    return [model._meta.get_field(name) for name in names]


def _sign(some: Sequence[_Signed]) -> None:
    """Make the records of some visits, then lock them as signing does."""
    visits = [one.visit for one in some]
    load_parts(visits)
    records: list[Record] = []
    private: list[PersonalDatum] = []
    corrections: list[Amendment] = []
    for one in some:
        by = one.visit.technician
        assert by is not None
        written = content_of(one.visit, signed_by=by, closures=one.closures)
        record, data = record_rows(one.visit, written, signed_by=by)
        records.append(record)
        private += data
        corrections += [
            Amendment(organisation_id=record.organisation_id, record=record, **fields)
            for fields in one.corrections
        ]
    Record.objects.bulk_create(records, batch_size=ROWS_AT_ONCE)
    PersonalDatum.objects.bulk_create(private, batch_size=ROWS_AT_ONCE)
    Amendment.objects.bulk_create(corrections)
    Visit.objects.filter(pk__in=[visit.pk for visit in visits]).update(state=VisitState.SIGNED)
