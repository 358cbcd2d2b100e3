"""More years of the same visits, copied inside the database: a million in minutes, on both databases.

A copy has its days moved back and one figure of its keys changed. Records are copied without
their content, which no list reads. Needs Django set up.
"""

from collections.abc import Iterator

from django.db import connection, models, transaction

from accounts.guards import install_guards, remove_guards
from accounts.models import AuditEvent
from service.runs.models import Run
from service.visits.models import Closure, Defect, Reading, Record, Task, Visit

SIGNED = "state = 'signed'"
_OF_SIGNED = f"visit_id IN (SELECT id FROM visits_visit WHERE {SIGNED})"
WHICH: dict[type[models.Model], str] = {
    Visit: SIGNED,
    Reading: _OF_SIGNED,
    Task: _OF_SIGNED,
    Record: "TRUE",
    Defect: f"closed_at IS NOT NULL AND {_OF_SIGNED}",
    Closure: f"reopened_at IS NOT NULL AND {_OF_SIGNED}",
    AuditEvent: "subject_type = 'visits.visit'",
    Run: "state = 'done'",
}
MOST = 12
_FIXED = {"content": "'{}'", "canonical": "''"}


def copy_visits(*, times: int, days: int) -> None:
    """Make ``times`` (at most MOST) of every signed visit and all beside it, each ``days`` further back.

    The guards step aside: a copy points where its model row points, inside the same firm.
    """
    if times > MOST:
        raise ValueError(f"at most {MOST} times")
    remove_guards()
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            for statement in _statements(times, days):
                cursor.execute(statement)
    finally:
        install_guards()


def _statements(times: int, days: int) -> Iterator[str]:
    """What is there is read before anything is written: copies are of the first rows only."""
    for model, which in WHICH.items():
        table = model._meta.db_table
        yield f"CREATE TEMPORARY TABLE first_{table} AS SELECT * FROM {table} WHERE {which}"
    for copy in range(1, times):
        for model in WHICH:
            yield _insert(model, copy, days * copy)
    for model in WHICH:
        yield f"DROP TABLE first_{model._meta.db_table}"


def _insert(model: type[models.Model], copy: int, days: int) -> str:
    fields = [one for one in model._meta.concrete_fields if not isinstance(one, models.AutoField)]
    columns = ", ".join(f'"{field.column}"' for field in fields)
    values = ", ".join(_value(field, copy, days) for field in fields)
    table = model._meta.db_table
    return f"INSERT INTO {table} ({columns}) SELECT {values} FROM first_{table}"


def _value(field: models.Field, copy: int, days: int) -> str:
    if field.column in _FIXED:
        return _FIXED[field.column]
    if field.primary_key or field.column in ("subject_id", "about") or field.related_model is Visit:
        return _moved_key(field, copy)
    if isinstance(field, models.DateTimeField):
        return _shifted(field.column, f"-{days} days", "%Y-%m-%d %H:%M:%f")
    if isinstance(field, models.DateField):
        return _shifted(field.column, f"-{days} days", "%Y-%m-%d")
    return f'"{field.column}"'


def _moved_key(field: models.Field, copy: int) -> str:
    """The key with another figure where every random key has its version, a 4: never one that is taken."""
    is_plain = connection.vendor == "sqlite" and field.column != "subject_id"
    text = f'"{field.column}"' if connection.vendor == "sqlite" else f'"{field.column}"::text'
    # The 13th figure: the 15th sign where the key is written with its two dashes.
    at = 13 if is_plain else 15
    moved = f"substr({text}, 1, {at - 1}) || '{copy + 4:x}' || substr({text}, {at + 1})"
    is_key = connection.vendor == "postgresql" and field.column != "subject_id"
    return f"({moved})::uuid" if is_key else moved


def _shifted(column: str, by: str, form: str) -> str:
    if connection.vendor == "sqlite":
        return f"strftime('{form}', \"{column}\", '{by}')"
    kind = "date" if form.endswith("%d") else "timestamptz"
    return f"(\"{column}\" + interval '{by}')::{kind}"
