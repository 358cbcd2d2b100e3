"""A real Celery worker process writes a list: to the end, and killed in the middle, which leaves nothing.

The worker is caught in the middle by the database: a trigger at one of the rows goes on for minutes.
"""

import json
import os
import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import psycopg
import pytest
import redis

from tests.reports.test_worker import House, empty_redis, folder, kill_all_of, migrated  # noqa: F401

pytestmark = pytest.mark.worker
ROWS = 6000
SERVER = "postgres://postgres@127.0.0.1:5432"
# SQLite keeps 2 MB of changed pages in memory; what is beyond goes into the log before it is committed.
UNCOMMITTED_BYTES = 500_000
# So far on that some of what is written lies in the log.
_HELD_AT = f"NEW.reference = 'C{ROWS * 9 // 10}'"
_COUNTING = """WITH RECURSIVE counted(n) AS
  (SELECT 1 UNION ALL SELECT n + 1 FROM counted WHERE n < 1e12) SELECT count(*) FROM counted"""
_HELD = """CREATE FUNCTION held() RETURNS trigger AS
  'BEGIN PERFORM pg_sleep(600); RETURN NEW; END' LANGUAGE plpgsql"""
_AT_A_ROW = "CREATE TRIGGER held AFTER INSERT ON sites_client"


@pytest.fixture(params=["files", pytest.param("redis", marks=pytest.mark.redis)])
def house(request: pytest.FixtureRequest, folder: Path) -> Iterator[House]:  # noqa: F811
    broker = "filesystem://" if request.param == "files" else empty_redis()
    yield House(folder, broker)
    if request.param == "redis":
        with closing(redis.Redis.from_url(broker)) as server:
            server.flushdb()


@pytest.fixture
def postgresql_house(tmp_path: Path) -> Iterator[House]:
    """An installation whose database is a new one of a PostgreSQL server; skips where there is none."""
    name = f"runnel_import_{uuid.uuid4().hex[:8]}"
    try:
        server = psycopg.connect(f"{SERVER}/postgres", autocommit=True, connect_timeout=3)
    except psycopg.OperationalError:
        if os.environ.get("RUNNEL_REQUIRE_ALL"):
            pytest.fail("no PostgreSQL at 127.0.0.1:5432")
        pytest.skip("no PostgreSQL at 127.0.0.1:5432")
    with closing(server):
        server.execute(f"CREATE DATABASE {name}")
        try:
            made = House(tmp_path, "filesystem://", f"{SERVER}/{name}")
            made.run("manage.py", "migrate", "-v", "0")
            yield made
        finally:
            server.execute(f"DROP DATABASE {name} WITH (FORCE)")


def scene(house: House, *arguments: str) -> Any:
    return json.loads(house.run("-m", "tests.importing.import_worker_scene", *arguments))


def writing(house: House) -> Any:
    """State, attempt, how far and how much of the run that writes."""
    query = "SELECT state, attempt, progress_done, progress_total FROM runs_run"
    return house.ask(f"{query} WHERE task = 'importing.write_list' ORDER BY created_at DESC LIMIT 1")[0]


def clients(house: House) -> int:
    """How many clients are there beside the two that the firm had."""
    return int(house.ask("SELECT count(*) FROM sites_client")[0][0]) - 2


def imports_on_the_trail(house: House) -> int:
    return int(house.ask("SELECT count(*) FROM accounts_auditevent WHERE action = 'list.imported'")[0][0])


def is_done(house: House) -> bool:
    return bool(writing(house)[0] == "done")


def is_amid_its_rows(house: House) -> bool:
    """Rows are written and not yet committed: on PostgreSQL the run says so, SQLite's log grows."""
    state, _, done, total = writing(house)
    if house.database_url:
        return state == "running" and 0 < done < total
    log = house.folder / "runnel.sqlite3-wal"
    return state == "running" and total == ROWS and log.exists() and log.stat().st_size > UNCOMMITTED_BYTES


def kill_amid(house: House) -> None:
    with house.worker() as process:
        try:
            house.wait_for(lambda: is_amid_its_rows(house))
        finally:
            kill_all_of(process)
    if house.database_url:
        # The server's own process would go on sleeping: it has not heard of its client's end.
        house.ask("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE query LIKE 'INSERT%'")


def hold_up(house: House) -> None:
    """Let the database take minutes over one of the last rows."""
    if not house.database_url:
        tell(house, f"{_AT_A_ROW} WHEN {_HELD_AT} BEGIN {_COUNTING}; END")
        return
    tell(house, _HELD)
    tell(house, f"{_AT_A_ROW} FOR EACH ROW WHEN ({_HELD_AT}) EXECUTE FUNCTION held()")


def let_go(house: House) -> None:
    tell(house, "DROP TRIGGER held" + (" ON sites_client" if house.database_url else ""))


def tell(house: House, statement: str) -> None:
    if house.database_url:
        with psycopg.connect(house.database_url) as server:
            server.execute(statement)
        return
    with closing(sqlite3.connect(house.folder / "runnel.sqlite3", timeout=20)) as database:
        database.execute(statement)
        database.commit()


def test_killed_in_the_middle_it_leaves_nothing_and_is_written_once_after_the_restart(house: House) -> None:
    scene(house, "ask", str(ROWS))
    hold_up(house)

    kill_amid(house)
    let_go(house)

    assert writing(house)[:2] == ("running", 1)
    assert clients(house) == 0
    assert "Being written" in scene(house, "page")["text"]

    with house.worker():
        house.wait_for(lambda: is_done(house))

    assert clients(house) == ROWS
    assert writing(house)[:2] == ("done", 2)
    assert imports_on_the_trail(house) == 1
    assert "Imported." in scene(house, "page")["text"]


@pytest.mark.postgresql
def test_on_postgresql_it_says_how_far_it_is_and_killed_there_leaves_nothing(postgresql_house: House) -> None:
    house = postgresql_house
    scene(house, "ask", str(ROWS))
    hold_up(house)

    kill_amid(house)
    let_go(house)

    assert clients(house) == 0
    assert imports_on_the_trail(house) == 0

    with house.worker():
        house.wait_for(lambda: is_done(house))

    assert (clients(house), imports_on_the_trail(house)) == (ROWS, 1)
