"""What was written down at a spa, as the file of the demonstration's past keeps it."""

import json
import re
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from service.demo.past import CORRECTION, TABLES, VISIT, Names
from service.sites.models import Spa
from service.visits.models import (
    Amendment,
    Answer,
    Closure,
    Decision,
    InspectionAnswer,
    Reading,
    Record,
    Task,
    TreatmentStep,
    Visit,
)

_MOMENT = re.compile(r'"(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?(?:Z|[+-]\d\d:\d\d))"')
_DAY = re.compile(r'"(\d{4}-\d\d-\d\d)"')
_DAY_IN_WORDS = re.compile(r"\b(\d{1,2} [A-Z][a-z]{2} \d{4})\b")
# Without its year, before a clock time: "29 Dec 14:29".
_DAY_AND_TIME = re.compile(r"\b(\d{1,2} [A-Z][a-z]{2})(?= \d\d:\d\d\b)")
# Further away it is no day of the demonstration, but of a document.
_FARTHEST_DAYS = 200


def written_down(spa: Spa, names: Names) -> dict[str, Any]:
    """Everything of a spa, in the file's form."""
    visits = list(Visit.objects.filter(spa=spa).order_by("planned_on", "created_at"))
    tables: dict[str, list[Any]] = {
        "readings": list(Reading.objects.filter(visit__in=visits).order_by("taken_at", "parameter")),
        "decisions": list(Decision.objects.filter(visit__in=visits).order_by("made_at", "pk")),
        "steps": list(TreatmentStep.objects.filter(visit__in=visits).order_by("decision__made_at", "order")),
        "tasks": list(Task.objects.filter(visit__in=visits).order_by("visit__planned_on", "kind")),
        "closures": list(Closure.objects.filter(spa=spa).order_by("closed_at")),
    }
    known: dict[Any, Any] = {row.pk: name for name, row in names.rows.items()}
    known |= {visit.pk: place for place, visit in enumerate(visits)}
    known |= {decision.pk: place for place, decision in enumerate(tables["decisions"])}
    answers = InspectionAnswer.objects.filter(visit__in=visits).exclude(answer=Answer.YES)
    corrections = Amendment.objects.filter(record__visit__in=visits).select_related("record")
    raw = {
        "visits": [_values(visit, VISIT, known) for visit in visits],
        "answers": [
            [known[one.visit_id], one.item, one.answer, one.note] for one in answers.order_by("visit", "item")
        ],
        "signed": [_signed(visit) for visit in visits],
        "corrected": [
            [known[one.record.visit_id], *_values(one, CORRECTION, known)]
            for one in corrections.order_by("made_at")
        ],
        **{name: [_values(row, TABLES[name][1], known) for row in rows] for name, rows in tables.items()},
    }
    found: dict[str, Any] = json.loads(_counted(json.dumps(raw, cls=DjangoJSONEncoder), names))
    return found


def _values(row: models.Model, columns: Iterable[str], known: Mapping[Any, Any]) -> list[Any]:
    values = []
    for name in columns:
        column: Any = row._meta.get_field(name)
        value = getattr(row, column.attname)
        values.append(known[value] if column.is_relation and value is not None else value)
    return values


def _signed(visit: Visit) -> list[Any] | None:
    """The closures that the signature named, as they stood then; None for a visit without a record."""
    record = Record.objects.filter(visit=visit).prefetch_related("personal_data").first()
    if record is None:
        return None
    words = {datum.name: datum.value for datum in record.personal_data.all()}
    return [
        [one["closed_at"], one["reopened_at"], words.get(f"closure.{number}.reason", "")]
        for number, one in enumerate(record.content["closures"], start=1)
    ]


def _counted(text: str, names: Names) -> str:
    """The text with its days counted from today, and products by name instead of key."""

    def moment(found: re.Match[str]) -> str:
        at = datetime.fromisoformat(found[1]).astimezone(names.zone)
        return f'"@{(at.date() - names.today).days}T{at.time().isoformat()}"'

    def day(found: re.Match[str]) -> str:
        return f'"@{(date.fromisoformat(found[1]) - names.today).days}"'

    def words(found: re.Match[str]) -> str:
        days = (datetime.strptime(found[1], "%d %b %Y").date() - names.today).days
        return f"@{days}@" if abs(days) < _FARTHEST_DAYS else found[1]

    def before_time(found: re.Match[str]) -> str:
        day = datetime.strptime(f"{found[1]} {names.today.year}", "%d %b %Y").date()
        if day > names.today:
            day = day.replace(year=day.year - 1)
        return f"@{(day - names.today).days}d@"

    for name, product in names.products.items():
        text = text.replace(str(product.pk), f"#{name}#")
    text = _DAY_IN_WORDS.sub(words, _DAY.sub(day, _MOMENT.sub(moment, text)))
    return _DAY_AND_TIME.sub(before_time, text)
