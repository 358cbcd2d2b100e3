"""Several searches side by side, with different seeds and ruins, that pass on the best week.

The search runs in legs. After each leg everybody hands in the best week and goes on from the best of
all, so that a seed and a number of iterations give the same plan every time.
"""

import multiprocessing
import signal
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.synchronize import Event
from typing import Any

from .board import Routes
from .exact import move_jobs
from .polish import polish_day, polish_week
from .pool import Shape
from .problem import Problem
from .ruin import STYLES
from .search import Manner, Search
from .start import first_penalties
from .week import Model, Snapshot, Week, build_model

RECOMBINED = 0.4
"""Most of a leg's time that goes into putting known routes together anew, where a leg begins so."""
MOST_SHAPES_SENT = 4000
PATIENCE_S = 20.0
"""How long a process may be overdue before the others go on without it."""

IsCancelled = Callable[[], bool]


@dataclass(frozen=True, slots=True)
class Leg:
    """A stretch of the search, from one fraction of it to another: until a moment, or so many steps."""

    begins: float
    ends: float
    until: float | None = None
    """Of the monotonic clock, which all processes of a machine share, [s]."""
    steps: int | None = None
    is_recombined: bool = False
    """Whether the first member begins it by putting the routes that all have met together anew."""
    is_joint: bool = False
    """Whether everybody works on the best week, all days at once, instead of searching on."""


@dataclass(frozen=True, slots=True)
class Found:
    """What another process hands in after a leg."""

    best: Snapshot | None
    shapes: list[Shape]
    iterations: int


@dataclass(frozen=True, slots=True)
class Finish:
    """Polish some days of a week: until a moment, or for so many iterations each."""

    week: Snapshot
    days: tuple[int, ...]
    until: float | None = None
    steps: int | None = None

    def is_late(self) -> bool:
        """Whether the time is up."""
        return self.until is not None and time.monotonic() >= self.until


class Member:
    """One search and what it is asked to do."""

    def __init__(self, model: Model, first: Snapshot, number: int, seed: int, manner: Manner) -> None:
        self.seed = seed + 1000 * number
        week = Week(model, self.seed)
        week.restore(first)
        style = STYLES[number % len(STYLES)]
        self.search = Search(week, first_penalties(model), style, self.seed, manner)

    def run(self, leg: Leg, best: Snapshot, is_cancelled: IsCancelled) -> Snapshot | None:
        """Search for one leg; the best week so far."""
        if leg.is_joint:
            return self._polish(leg, best, is_cancelled)
        begun, done = time.monotonic(), 0
        while not is_cancelled():
            share = _share(leg, begun, done)
            if share >= 1.0:
                break
            self.search.step(leg.begins + (leg.ends - leg.begins) * share)
            done += 1
        return self.search.best()

    def _polish(self, leg: Leg, best: Snapshot, is_cancelled: IsCancelled) -> Snapshot | None:
        week = self.search.week
        before = week.snapshot()
        found = polish_week(week, best, self.seed, _stop(leg.until, leg.steps, is_cancelled))
        week.restore(before)
        return found

    def recombine(self, best: Snapshot, leg: Leg) -> Snapshot | None:
        """Put known routes together anew, for a part of the leg's time."""
        now = time.monotonic()
        until = None if leg.until is None else now + RECOMBINED * (leg.until - now)
        return self.search.recombine(best, until)

    def finish(self, task: Finish, is_cancelled: IsCancelled) -> dict[int, Routes]:
        """Better routes for the days asked for."""
        found = {}
        for position, day in enumerate(task.days):
            board, routes = self.search.week.board(day), task.week.routes[day]
            if not board.day.is_exact:
                routes = move_jobs(board, routes, lambda: is_cancelled() or task.is_late())
            now = time.monotonic()
            left = len(task.days) - position
            until = None if task.until is None else now + max(0.0, task.until - now) / left
            stop = _stop(until, task.steps, is_cancelled)
            found[day] = polish_day(board, routes, self.seed, stop)
        return found


def _share(leg: Leg, begun: float, done: int) -> float:
    if leg.steps is not None:
        return done / leg.steps if leg.steps else 1.0
    assert leg.until is not None
    return (time.monotonic() - begun) / (leg.until - begun) if leg.until > begun else 1.0


def _stop(until: float | None, steps: int | None, is_cancelled: IsCancelled) -> Callable[[float], bool]:
    """A stop rule: a moment, a number of steps, or a cancel."""
    done = 0

    def is_over(_best: float) -> bool:
        nonlocal done
        done += 1
        if is_cancelled() or (steps is not None and done > steps):
            return True
        return until is not None and time.monotonic() >= until

    return is_over


class Team:
    """This process's member, and one process for every other."""

    def __init__(
        self,
        model: Model,
        first: Snapshot,
        *,
        processes: int,
        seed: int,
        manner: Manner,
        is_cancelled: IsCancelled,
    ) -> None:
        self.best = first
        self.iterations = 0
        self._is_cancelled = is_cancelled
        self._own = Member(model, first, 0, seed, manner)
        context = multiprocessing.get_context("spawn")
        self._cancelled = context.Event() if processes > 1 else threading.Event()
        self._others: list[tuple[Any, Connection]] = []
        for number in range(1, processes):
            here, there = context.Pipe()
            arguments = (there, self._cancelled, model.problem, first, number, seed, manner)
            process = context.Process(target=_serve, args=arguments, daemon=True)
            process.start()
            there.close()
            self._others.append((process, here))

    def __enter__(self) -> "Team":
        return self

    def __exit__(self, *_: object) -> None:
        self._cancelled.set()
        for process, connection in self._others:
            connection.close()
            process.join(timeout=2)
            if process.is_alive():
                process.kill()

    def run(self, leg: Leg) -> None:
        """Everybody searches for one leg."""
        self._send((leg, self.best))
        recombined = self._own.recombine(self.best, leg) if leg.is_recombined else None
        if recombined is not None:
            self.best = recombined
        self._own.search.adopt(self.best)
        own = self._own.run(leg, self.best, self._check)
        answers: list[Found] = self._receive(leg.until)
        self.iterations = self._own.search.iterations + sum(answer.iterations for answer in answers)
        for answer in answers:
            self._own.search.pool.add(answer.shapes)
        for snapshot in [own, *(answer.best for answer in answers)]:
            if snapshot is not None and snapshot.cost < self.best.cost:
                self.best = snapshot

    def finish(self, *, until: float | None, steps: int | None) -> None:
        """Everybody polishes some of the days of the best week, where no jobs must stay together."""
        linked_on = self._own.search.week.linked_on
        days = [day for day, routes in enumerate(self.best.routes) if routes and not linked_on[day]]
        shares = [tuple(days[i :: len(self._others) + 1]) for i in range(len(self._others) + 1)]
        tasks = [Finish(self.best, share, until, steps) for share in shares]
        self._send(*tasks[1:])
        found = self._own.finish(tasks[0], self._check)
        for answer in self._receive(until):
            found.update(answer)
        routes = [found.get(day, routes) for day, routes in enumerate(self.best.routes)]
        self._own.search.week.restore(Snapshot(self.best.chosen, tuple(routes), 0))
        self.best = self._own.search.week.snapshot()

    def _check(self) -> bool:
        if self._is_cancelled():
            self._cancelled.set()
            return True
        return False

    def _send(self, *messages: Any) -> None:
        """One message for all, or one for each."""
        each = messages if len(messages) > 1 else messages * len(self._others)
        for (_, connection), message in zip(self._others, each, strict=False):
            connection.send(message)

    def _receive(self, until: float | None) -> list[Any]:
        """An answer from each; a process that is gone, or far too late, is done without."""
        answers, present = [], []
        for process, connection in self._others:
            patience = None if until is None else max(0.0, until - time.monotonic()) + PATIENCE_S
            try:
                if connection.poll(patience):
                    answers.append(connection.recv())
                    present.append((process, connection))
                    continue
            except EOFError:
                pass
            process.kill()
        self._others = present
        return answers


def _serve(
    connection: Connection,
    cancelled: Event,
    problem: Problem,
    first: Snapshot,
    number: int,
    seed: int,
    manner: Manner,
) -> None:
    """The other side: search and polish as told until the connection closes."""
    for ignored in (signal.SIGTERM, signal.SIGINT):
        signal.signal(ignored, signal.SIG_IGN)
    member = Member(build_model(problem), first, number, seed, manner)
    try:
        for message in _messages(connection):
            if isinstance(message, Finish):
                connection.send(member.finish(message, cancelled.is_set))
                continue
            leg, best = message
            member.search.adopt(best)
            found = member.run(leg, best, cancelled.is_set)
            shapes = member.search.pool.take_fresh(MOST_SHAPES_SENT)
            connection.send(Found(found, shapes, member.search.iterations))
    except BrokenPipeError:
        return


def _messages(connection: Connection) -> Iterable[Any]:
    while True:
        try:
            yield connection.recv()
        except EOFError:
            return
