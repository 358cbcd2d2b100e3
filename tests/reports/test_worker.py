"""A real Celery worker process builds the PDF: through files, and through Redis; killed in the middle, once.

Nothing of ours stands in for anything: a database file, a queue and the worker, each its own. The worker is
caught in the middle by a photo that is a named pipe: reading it waits until somebody writes.
"""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
import pytest
import redis

ROOT = Path(__file__).resolve().parents[2]
REDIS = "redis://127.0.0.1:6379"
PATIENCE_S = 60
pytestmark = pytest.mark.worker


@dataclass
class House:
    """One installation in a folder of its own; its database there too, unless ``database_url`` names one."""

    folder: Path
    broker: str
    database_url: str = ""

    @property
    def environment(self) -> dict[str, str]:
        kept = {
            name: value for name, value in os.environ.items() if name in {"PATH", "HOME", "LANG", "TMPDIR"}
        }
        return {
            **kept,
            "DJANGO_SETTINGS_MODULE": "service.settings",
            "RUNNEL_DATA_DIR": str(self.folder),
            "CELERY_BROKER_URL": self.broker,
            "RUN_STALE_SECONDS": "2",
            **({"DATABASE_URL": self.database_url} if self.database_url else {}),
        }

    def run(self, *arguments: str, **more: str) -> str:
        done = subprocess.run(
            [sys.executable, *arguments],
            cwd=ROOT,
            env={**self.environment, **more},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def scene(self, name: str, **more: str) -> Any:
        return json.loads(self.run("-m", "tests.reports.worker_scene", name, **more))

    def ask(self, question: str) -> list[tuple[Any, ...]]:
        if self.database_url:
            with psycopg.connect(self.database_url) as server:
                return server.execute(question).fetchall()
        with closing(sqlite3.connect(self.folder / "runnel.sqlite3", timeout=20)) as database:
            return database.execute(question).fetchall()

    def wait_for(self, is_so: Callable[[], bool]) -> None:
        end = time.monotonic() + PATIENCE_S
        while not is_so():
            assert time.monotonic() < end, self.ask("SELECT state, attempt, doing, error FROM runs_run")
            time.sleep(0.05)

    def state(self) -> str:
        return str(self.ask("SELECT state FROM runs_run")[0][0])

    @contextmanager
    def worker(self) -> Iterator["subprocess.Popen[bytes]"]:
        """A worker with its pool of processes; stopped the way a service manager stops it, if it still is."""
        queues = "default,weeks,reports"
        command = ["-m", "celery", "-A", "service.celery", "worker", "-Q", queues, "-c", "1", "-l", "WARNING"]
        with (self.folder / "worker.log").open("ab") as log:
            process = subprocess.Popen(
                [sys.executable, *command],
                cwd=ROOT,
                env=self.environment,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        try:
            yield process
        finally:
            if process.poll() is None:
                process.terminate()
                process.wait(30)


def kill_all_of(process: "subprocess.Popen[bytes]") -> None:
    """The power goes: parent and children at once, nobody tidies up."""
    os.killpg(process.pid, signal.SIGKILL)
    process.wait(30)


def empty_redis() -> str:
    """The address of a Redis database that nobody uses; skips where there is none."""
    for number in range(15, 0, -1):
        server = redis.Redis.from_url(f"{REDIS}/{number}")
        try:
            with closing(server):
                if server.dbsize() == 0:
                    return f"{REDIS}/{number}"
        except redis.ConnectionError:
            _no_redis()
    pytest.skip("no Redis database is empty")


def _no_redis() -> None:
    if os.environ.get("RUNNEL_REQUIRE_ALL"):
        pytest.fail("no Redis at 127.0.0.1:6379")
    pytest.skip("no Redis at 127.0.0.1:6379")


@pytest.fixture(scope="module")
def migrated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database file on which every migration has run, to be copied."""
    first = House(tmp_path_factory.mktemp("migrated"), "filesystem://")
    first.run("manage.py", "migrate", "-v", "0")
    return first.folder / "runnel.sqlite3"


@pytest.fixture
def folder(tmp_path: Path, migrated: Path) -> Path:
    """The data folder of a fresh installation."""
    copy = tmp_path / migrated.name
    with closing(sqlite3.connect(migrated)) as source, closing(sqlite3.connect(copy)) as target:
        source.backup(target)
    return tmp_path


@pytest.fixture(params=["files", pytest.param("redis", marks=pytest.mark.redis)])
def house(request: pytest.FixtureRequest, folder: Path) -> Iterator[House]:
    broker = "filesystem://" if request.param == "files" else empty_redis()
    made = House(folder, broker)
    yield made
    if request.param == "redis":
        with closing(redis.Redis.from_url(broker)) as server:
            server.flushdb()


def built(house: House) -> list[tuple[Any, ...]]:
    return house.ask("SELECT kind, edition, digest FROM reports_reportfile ORDER BY kind")


def test_a_real_worker_builds_what_any_other_process_would(house: House) -> None:
    house.scene("sign")
    with house.worker():
        house.wait_for(lambda: house.state() == "done")

    here = house.scene("set", PYTHONHASHSEED="7")
    assert built(house) == [(kind, 1, here[kind]) for kind in sorted(here)]


def test_a_run_whose_worker_is_killed_in_the_middle_is_built_once_after_the_restart(house: House) -> None:
    signed = house.scene("sign")
    photo = Path(signed["photo"])
    taken = photo.read_bytes()
    photo.unlink()
    os.mkfifo(photo)
    with house.worker() as process:
        house.wait_for(lambda: house.ask("SELECT doing FROM runs_run") == [("Setting visit record",)])
        kill_all_of(process)
    assert house.state() == "running"
    assert built(house) == []
    photo.unlink()
    photo.write_bytes(taken)

    with house.worker():
        house.wait_for(lambda: house.state() == "done")

    here = house.scene("set")
    assert built(house) == [(kind, 1, here[kind]) for kind in sorted(here)]
    assert house.ask("SELECT attempt FROM runs_run") == [(2,)]
    assert house.ask("SELECT count(*) FROM accounts_auditevent WHERE action = 'report.built'") == [(2,)]
    assert len(list((house.folder / "files").rglob("*.pdf"))) == 2


def test_a_message_that_is_lost_is_sent_again_by_the_worker_itself(folder: Path) -> None:
    house = House(folder, "filesystem://")
    house.scene("sign")
    lost = list((folder / "queue" / "messages").iterdir())
    for message in lost:
        message.unlink()

    with house.worker():
        house.wait_for(lambda: house.state() == "done")

    assert len(lost) == 1
    assert len(built(house)) == 2


def test_a_queue_that_was_down_when_asked_loses_nothing(folder: Path) -> None:
    house = House(folder, "filesystem://")
    house.scene("sign", CELERY_BROKER_URL="redis://127.0.0.1:1/0")
    assert not (folder / "queue").exists()

    with house.worker():
        house.wait_for(lambda: house.state() == "done")

    assert len(built(house)) == 2
