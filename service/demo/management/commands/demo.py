"""One command from a clone to a firm at work: migrate, seed, print the sign-ins, serve."""

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from argparse import ArgumentParser
from contextlib import suppress
from pathlib import Path
from types import FrameType
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand

from accounts.models import Organisation, Person
from service.demo.scenario import PASSWORD, PIN, build_scenario

FIRST_PORT = 8000
STOP_SECONDS = 15


class Command(BaseCommand):
    help = (
        "Set up the invented demonstration, then serve it: a web server and a worker, both stopped by "
        "Ctrl-C. Running it again keeps the data."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=FIRST_PORT, help="first port to try (default 8000)")
        parser.add_argument("--fresh", action="store_true", help="throw the demonstration's data away first")
        parser.add_argument("--only-seed", action="store_true", help="set up and stop")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["fresh"]:
            self._start_over()
        Path(settings.STATIC_ROOT).mkdir(parents=True, exist_ok=True)
        call_command("migrate", verbosity=0, interactive=False)
        self._seed()
        if options["only_seed"]:
            return
        port = free_port(options["port"])
        if port != options["port"]:
            self.stdout.write(f"Port {options['port']} is taken; using {port}.")
        self._serve(port)

    def _start_over(self) -> None:
        if settings.DATABASES["default"]["ENGINE"] != "django.db.backends.sqlite3":
            call_command("flush", verbosity=0, interactive=False)
        for name in ("runnel.sqlite3", "runnel.sqlite3-wal", "runnel.sqlite3-shm"):
            (settings.DATA_DIR / name).unlink(missing_ok=True)
        for folder in ("files", "queue/messages", "queue/control", "cache"):
            shutil.rmtree(settings.DATA_DIR / folder, ignore_errors=True)
        for folder in ("queue/messages", "queue/control"):
            (settings.DATA_DIR / folder).mkdir(parents=True, exist_ok=True)

    def _seed(self) -> None:
        if Organisation.objects.exists():
            self.stdout.write("Keeping the data that is there (--fresh starts over).")
            return
        self.stdout.write("Setting up two invented firms and their four months …")
        started = time.monotonic()
        build_scenario()
        self.stdout.write(f"Done in {time.monotonic() - started:.1f} s.")

    def _serve(self, port: int) -> None:
        bin_folder = Path(sys.executable).parent
        environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "service.settings"}
        worker = [
            str(bin_folder / "celery"), "--quiet", "-A", "service", "worker", "-Q", "default,weeks,reports",
            "--concurrency", "2", "--loglevel", "WARNING", "--without-gossip", "--without-mingle",
        ]  # fmt: skip
        server = [
            str(bin_folder / "gunicorn"), "service.wsgi", "--bind", f"127.0.0.1:{port}",
            "--workers", "1", "--threads", "8", "--log-level", "warning",
        ]  # fmt: skip
        processes = [
            subprocess.Popen(command, env=environment, cwd=settings.BASE_DIR, start_new_session=True)
            for command in (worker, server)
        ]
        signal.signal(signal.SIGTERM, _interrupt)
        try:
            wait_until_up(port)
            self._greet(port)
            while all(process.poll() is None for process in processes):
                time.sleep(0.5)
            self.stderr.write("A process stopped by itself; stopping the other one.")
        except KeyboardInterrupt:
            self.stdout.write("Stopping …")
        finally:
            for process in processes:
                stop(process)
        self.stdout.write("Stopped.")

    def _greet(self, port: int) -> None:
        self.stdout.write(f"\nRunnel is at http://localhost:{port}   (Ctrl-C stops it)")
        self.stdout.write(f"Password for everybody: {PASSWORD}    signing PIN: {PIN}\n")
        people = Person.objects.filter(is_active=True).select_related("organisation")
        for person in people.prefetch_related("role_grants").order_by("organisation__name", "email"):
            roles = ", ".join(str(grant) for grant in person.role_grants.all())
            self.stdout.write(f"  {person.email:24} {roles:28} {person.name}, {person.organisation}")
        self.stdout.write("\nEverything in it is invented.")
        self.stdout.flush()


def _interrupt(_number: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def free_port(first: int) -> int:
    """The first free port from ``first`` on."""
    for port in range(first, first + 200):
        with socket.socket() as probe, suppress(OSError):
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(("127.0.0.1", port))
            return port
    raise OSError(f"No free port from {first} to {first + 199}.")


def wait_until_up(port: int, seconds: float = 60) -> None:
    """Return when the server answers. Raises TimeoutError after ``seconds``."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        with suppress(OSError):
            urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=2)
            return
        time.sleep(0.1)
    raise TimeoutError("The server did not start.")


def stop(process: subprocess.Popen[bytes]) -> None:
    """Ask the process to stop, and end its whole group if it has not after a while."""
    if process.poll() is None:
        process.terminate()
    try:
        process.wait(STOP_SECONDS)
    except subprocess.TimeoutExpired:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
