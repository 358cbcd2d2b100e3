"""The planner as a process of its own: watched, stopped when asked, never left behind."""

import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import IO, Any

from django.conf import settings

Json = dict[str, Any]
LOOK_S = 0.5
GRACE_S = 60.0
"""How long the planner may take beyond its time: reading the request, polishing, explaining."""
STOP_S = 30.0
"""How long it may take to hand in its best after it was asked to stop."""


class SolverFailed(Exception):  # noqa: N818
    """The planner ended without a plan. ``str()`` is for the log."""


@dataclass(frozen=True)
class Effort:
    """How hard to search: for so many seconds, or for ``iterations`` rounds: then the same plan each time."""

    seconds: float = 60.0
    iterations: int | None = None
    seed: int = 1
    processes: int = 2


@dataclass(frozen=True)
class Search:
    """How far the search is. fraction: 0 to 1; unserved: visits that have no place yet."""

    fraction: float
    unserved: int


def run_solver(
    command: str, request: Json, effort: Effort, *, watch: Callable[[Search | None], bool]
) -> Json:
    """Run ``plan`` or ``without`` and return its answer.

    watch  Called twice a second with the newest progress. True: stop and hand in the best so far;
           what it raises ends the planner at once.

    Raises SolverFailed.
    """
    with tempfile.TemporaryFile("w+") as asked, tempfile.TemporaryFile("w+") as answer:
        json.dump(request, asked)
        asked.seek(0)
        process = _started(command, effort, asked, answer)
        news = _News(process)
        try:
            _wait(process, news, effort, watch)
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()
            news.end()
        answer.seek(0)
        said = answer.read()
    if process.returncode != 0:
        raise SolverFailed(
            f"the planner ended with {process.returncode}: {said[:2000]} {news.last_words[:2000]}"
        )
    plan: Json = json.loads(said)
    return plan


def _wait(
    process: "subprocess.Popen[str]", news: "_News", effort: Effort, watch: Callable[[Search | None], bool]
) -> None:
    until = None if effort.iterations else time.monotonic() + effort.seconds + GRACE_S
    stopping = False
    while True:
        try:
            process.wait(LOOK_S)
        except subprocess.TimeoutExpired:
            pass
        else:
            return
        if not stopping and watch(news.newest):
            process.terminate()
            stopping, until = True, time.monotonic() + STOP_S
        if until is not None and time.monotonic() > until:
            raise SolverFailed("the planner did not end in time")


class _News:
    """Reads the planner's progress beside the waiting."""

    def __init__(self, process: "subprocess.Popen[str]") -> None:
        self.newest: Search | None = None
        self.last_words = ""
        self.stream = process.stderr
        self._reader = threading.Thread(target=self._read, name="planner's progress", daemon=True)
        self._reader.start()

    def end(self) -> None:
        """Read what is left. The process has ended."""
        self._reader.join()
        if self.stream is not None:
            self.stream.close()

    def _read(self) -> None:
        for line in self.stream or ():
            try:
                said = json.loads(line)
                self.newest = Search(said["fraction"], said["unserved"])
            except (ValueError, KeyError, TypeError):
                self.last_words += line


def _started(command: str, effort: Effort, asked: IO[str], answer: IO[str]) -> "subprocess.Popen[str]":
    """The process. It ends by itself when we are gone."""
    arguments = [sys.executable, "-m", "service.rounds.solver", command]
    arguments += ["--seconds", f"{effort.seconds:g}", "--seed", str(effort.seed)]
    arguments += ["--processes", str(effort.processes), "--parent", str(os.getpid())]
    if effort.iterations:
        arguments += ["--iterations", str(effort.iterations)]
    return subprocess.Popen(
        arguments, cwd=settings.BASE_DIR, stdin=asked, stdout=answer, stderr=subprocess.PIPE, text=True
    )
