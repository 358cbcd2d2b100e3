"""Rules that the database itself keeps, whatever code or hand writes to it (SQLite and PostgreSQL).

Three kinds, installed after every migration because SQLite drops a table's triggers whenever it
rebuilds the table:

* a row of one organisation cannot point to a row of another, nor change its organisation;
* a *sealed* table (audit trail, records, amendments) takes new rows only;
* a *locked* table refuses any change once its row, or the row it belongs to, meets a condition
  (a signed visit and everything under it).

Other rooms register their tables with ``seal_table`` and ``lock_table`` in their ``AppConfig.ready``.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db import connections, models
from django.db.backends.base.base import BaseDatabaseWrapper

PREFIX = "guard"


@dataclass(frozen=True)
class Lock:
    """A table that freezes.

    label      Model label, "visits.Reading".
    parent     Name of the foreign key to the row that decides, or "" when it is the row itself.
    condition  SQL over ``{row}``, true when frozen: "{row}.state = 'signed'".
    message    What a refusal says.
    """

    label: str
    parent: str
    condition: str
    message: str


_sealed: dict[str, str] = {"accounts.AuditEvent": "the audit trail only grows"}
_locks: dict[str, list[Lock]] = {}


def seal_table(label: str, message: str) -> None:
    """Let the model's table take new rows only."""
    _sealed[label] = message


def lock_table(lock: Lock) -> None:
    """Freeze rows of a table once a condition holds."""
    locks = _locks.setdefault(lock.label, [])
    if lock not in locks:
        locks.append(lock)


def install_guards(using: str = "default", **_: Any) -> None:
    """Drop and create every guard whose table exists. Called after each ``migrate``."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        remove_guards(using)
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRESQL_REFUSE)
        for statement in _statements(connection, tables):
            cursor.execute(statement)


def step_aside(using: str = "default", **_: Any) -> None:
    """On SQLite take the guards away before ``migrate``; ``install_guards`` brings them back after it.

    SQLite refuses to change a table while a trigger names another one that is already gone, so no
    migration could be taken back. PostgreSQL drops a table's triggers with it and keeps its guards.
    """
    if connections[using].vendor == "sqlite":
        remove_guards(using)


def remove_guards(using: str = "default") -> None:
    """Take every guard away: for the test flush, and for migrations on SQLite."""
    connection = connections[using]
    with connection.cursor() as cursor:
        for name, table in installed_guards(using):
            quoted = f"DROP TRIGGER {name}"
            cursor.execute(quoted if connection.vendor == "sqlite" else f'{quoted} ON "{table}"')


def installed_guards(using: str = "default") -> list[tuple[str, str]]:
    """Names and tables of the guards that are in force now."""
    connection = connections[using]
    if connection.vendor == "sqlite":
        query = "SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger' AND name LIKE %s"
    else:
        query = (
            "SELECT t.tgname, c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "JOIN pg_namespace n ON n.oid = c.relnamespace "
            "WHERE NOT t.tgisinternal AND n.nspname = current_schema() AND t.tgname LIKE %s"
        )
    with connection.cursor() as cursor:
        cursor.execute(query, [f"{PREFIX}_%"])
        return sorted((name, table) for name, table in cursor.fetchall())


def expected_guards(using: str = "default") -> list[str]:
    """Names of the guards that must be in force when every migration has run."""
    connection = connections[using]
    tables = {model._meta.db_table for model in apps.get_models()}
    return sorted(statement.split()[2] for statement in _statements(connection, tables))


def _statements(connection: BaseDatabaseWrapper, tables: set[str]) -> Iterator[str]:
    for rule in _rules():
        if rule.table in tables:
            yield _sqlite(rule) if connection.vendor == "sqlite" else _postgresql(rule)
    if connection.vendor == "postgresql":
        for label in {**_sealed, **_locks}:
            table = apps.get_model(label)._meta.db_table
            if table in tables:
                yield (
                    f'CREATE TRIGGER {PREFIX}_{table}_truncate BEFORE TRUNCATE ON "{table}" '
                    f"FOR EACH STATEMENT EXECUTE FUNCTION guard_refuse('rows cannot be emptied')"
                )


@dataclass(frozen=True)
class _Rule:
    name: str
    table: str
    event: str
    when: str
    message: str


def _rules() -> Iterator[_Rule]:
    for model in apps.get_models():
        if _is_owned(model):
            yield from _ownership_rules(model)
    for label, message in _sealed.items():
        table = apps.get_model(label)._meta.db_table
        for event in ("UPDATE", "DELETE"):
            yield _Rule(f"{PREFIX}_{table}_{event.lower()}", table, event, "", message)
    for locks in _locks.values():
        for number, lock in enumerate(locks):
            yield from _lock_rules(lock, number)


def _is_owned(model: type[models.Model]) -> bool:
    return any(field.name == "organisation" for field in model._meta.concrete_fields)


def _ownership_rules(model: type[models.Model]) -> Iterator[_Rule]:
    table = model._meta.db_table
    yield _Rule(
        f"{PREFIX}_{table}_stays",
        table,
        "UPDATE",
        "NEW.organisation_id <> OLD.organisation_id",
        "a row cannot move to another organisation",
    )
    for field in model._meta.concrete_fields:
        parent = field.related_model
        if field.name == "organisation" or not isinstance(parent, type) or not _is_owned(parent):
            continue
        condition = (
            f'EXISTS (SELECT 1 FROM "{parent._meta.db_table}" p WHERE p."{parent._meta.pk.column}" = '
            f'NEW."{field.column}" AND p.organisation_id <> NEW.organisation_id)'
        )
        for event in ("INSERT", "UPDATE"):
            name = f"{PREFIX}_{table}_{field.column}_{event[:3].lower()}"
            yield _Rule(name, table, event, condition, f"{field.name} belongs to another organisation")


def _lock_rules(lock: Lock, number: int) -> Iterator[_Rule]:
    model = apps.get_model(lock.label)
    table = model._meta.db_table
    for event, rows in (("INSERT", ("NEW",)), ("UPDATE", ("OLD", "NEW")), ("DELETE", ("OLD",))):
        if not lock.parent:
            if event == "INSERT":
                continue
            condition = lock.condition.format(row="OLD")
        else:
            field = model._meta.get_field(lock.parent)
            parent = field.related_model._meta
            condition = " OR ".join(
                f'EXISTS (SELECT 1 FROM "{parent.db_table}" p WHERE p."{parent.pk.column}" = '
                f'{row}."{field.column}" AND {lock.condition.format(row="p")})'
                for row in rows
            )
        yield _Rule(
            f"{PREFIX}_{table}_lock{number}_{event[:3].lower()}", table, event, condition, lock.message
        )


def _sqlite(rule: _Rule) -> str:
    when = f"WHEN {rule.when} " if rule.when else ""
    return (
        f'CREATE TRIGGER {rule.name} BEFORE {rule.event} ON "{rule.table}" FOR EACH ROW {when}'
        f"BEGIN SELECT RAISE(ABORT, '{rule.message}'); END"
    )


# A trigger's WHEN clause cannot hold a subquery in PostgreSQL, so the condition travels as an argument.
_POSTGRESQL_REFUSE = """
CREATE OR REPLACE FUNCTION guard_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE refused boolean := true;
BEGIN
  IF TG_NARGS > 1 THEN
    IF TG_OP = 'INSERT' THEN
      EXECUTE 'SELECT ' || replace(TG_ARGV[1], 'NEW.', '($1).') INTO refused USING NEW;
    ELSIF TG_OP = 'DELETE' THEN
      EXECUTE 'SELECT ' || replace(TG_ARGV[1], 'OLD.', '($1).') INTO refused USING OLD;
    ELSE
      EXECUTE 'SELECT ' || replace(replace(TG_ARGV[1], 'NEW.', '($1).'), 'OLD.', '($2).')
        INTO refused USING NEW, OLD;
    END IF;
  END IF;
  IF refused THEN
    RAISE EXCEPTION '%', TG_ARGV[0] USING ERRCODE = 'check_violation';
  END IF;
  IF TG_OP = 'DELETE' THEN RETURN OLD; END IF;
  RETURN NEW;
END $$
"""


def _postgresql(rule: _Rule) -> str:
    condition = rule.when.replace("'", "''")
    arguments = f"'{rule.message}'" + (f", '{condition}'" if rule.when else "")
    # PostgreSQL folds unquoted names and cuts them at 63 bytes; table names here are short enough.
    return (
        f'CREATE TRIGGER {rule.name} BEFORE {rule.event} ON "{rule.table}" FOR EACH ROW '
        f"EXECUTE FUNCTION guard_refuse({arguments})"
    )
