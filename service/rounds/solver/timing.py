"""The times of one round, given its stops in order: as early back as possible, then as late out.

Starting at the latest moment that still gives the earliest return also gives the shortest round
(forward time slack: M. W. P. Savelsbergh, "The vehicle routing problem with time windows:
minimizing route duration", ORSA Journal on Computing 4(2), 1992). All times are ticks.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from .problem import Pause, Shift, Technician

Travel = Sequence[Sequence[int]]

MOST_GAPS = 6
"""Places tried for a break."""


@dataclass(frozen=True, slots=True)
class Step:
    """One stop to be timed: where, how long, and when it may start (None: at any time)."""

    location: int
    service: int
    windows: tuple[tuple[int, int], ...] | None = None


@dataclass(frozen=True, slots=True)
class StopTime:
    """When a stop is reached, begun and left."""

    arrive: int
    start: int
    leave: int


@dataclass(frozen=True, slots=True)
class Timing:
    """The times of a round, and by how much it breaks its limits."""

    depart: int
    back: int
    stops: tuple[StopTime, ...]
    pause_at: int | None
    """Start of the break; it may lie before or after the round."""
    pause_inside: bool
    late: int
    """Sum of the lateness at the stops' windows."""
    pause_late: int
    """By how much the break begins too late."""
    over: int
    """Time beyond the end of the shift, or beyond its longest duration, that overtime does not cover."""
    overtime: int

    @property
    def duration(self) -> int:
        """From leaving to coming back."""
        return self.back - self.depart

    @property
    def excess(self) -> int:
        """Everything that breaks a limit, added up; 0 for a round that can be driven."""
        return self.late + self.pause_late + self.over


@dataclass(slots=True)
class _Run:
    """One forward pass."""

    stops: list[StopTime]
    back: int
    late: int
    pause_at: int | None
    pause_late: int


def schedule(travel: Travel, technician: Technician, shift: Shift, steps: Sequence[Step]) -> Timing:
    """The best times for the stops in this order; a break is put where it costs least.

    A round that breaks limits is timed all the same: a stop reached too late is taken to start when
    its window closes, and the lateness is counted.
    """
    plain = _timing(travel, technician, shift, steps, None, shift.starts)
    pause = shift.pause
    if pause is None:
        return plain
    if plain.back <= pause.latest:  # the break comes after the round
        return _with_pause(plain, max(plain.back, pause.opens))
    earliest = _forward(travel, technician, steps, shift.starts, None, None)
    gaps = _gaps(earliest, shift.starts, pause)
    timings = [_timing(travel, technician, shift, steps, gap, shift.starts) for gap in gaps]
    before = _timing(travel, technician, shift, steps, None, _rested(shift, pause))
    timings.append(_with_pause(before, pause.opens))
    return min(timings, key=lambda timing: (timing.excess, timing.overtime, timing.duration))


def limits(travel: Travel, technician: Technician, shift: Shift, steps: Sequence[Step]) -> tuple[int, int]:
    """(excess, overtime) of the stops in this order, when only the return counts, not the duration.

    The same as ``schedule`` finds for a shift without a longest duration, in a fraction of the time.
    """
    run = _forward(travel, technician, steps, shift.starts, None, None)
    pause = shift.pause
    if pause is None or run.back <= pause.latest:
        return _limits(shift, run)
    best = _limits(shift, _forward(travel, technician, steps, _rested(shift, pause), None, None))
    for gap in reversed(_gaps(run, shift.starts, pause)):
        if best == (0, 0):
            break
        best = min(best, _limits(shift, _forward(travel, technician, steps, shift.starts, gap, pause)))
    return best


def _rested(shift: Shift, pause: Pause) -> int:
    """Earliest start of a round that comes after the break."""
    return max(shift.starts, pause.opens + pause.duration)


def _limits(shift: Shift, run: _Run) -> tuple[int, int]:
    overtime = max(0, run.back - shift.ends)
    over = max(0, overtime - shift.overtime_max)
    return run.late + run.pause_late + over, overtime - over


def _with_pause(timing: Timing, pause_at: int) -> Timing:
    return Timing(
        timing.depart,
        timing.back,
        timing.stops,
        pause_at,
        False,
        timing.late,
        timing.pause_late,
        timing.over,
        timing.overtime,
    )


def _gaps(earliest: _Run, starts: int, pause: Pause) -> list[int]:
    """Places worth trying for the break: gap g lies before stop g, the last one before the way back.

    The last gap that is reached in time gives the earliest return; one before it may give a shorter
    round when the technician leaves later.
    """
    leaves = [starts, *(stop.leave for stop in earliest.stops)]
    in_time = [gap for gap, leave in enumerate(leaves) if leave <= pause.latest]
    return in_time[-MOST_GAPS:] or [0]


def _timing(
    travel: Travel, technician: Technician, shift: Shift, steps: Sequence[Step], gap: int | None, starts: int
) -> Timing:
    pause = shift.pause if gap is not None else None
    earliest = _forward(travel, technician, steps, starts, gap, pause)
    depart = max(starts, _latest_departure(travel, technician, steps, earliest, gap, pause))
    run = _forward(travel, technician, steps, depart, gap, pause) if depart > starts else earliest
    duration = run.back - depart
    overtime = max(0, run.back - shift.ends)
    if shift.max_duration is not None:
        overtime = max(overtime, duration - shift.max_duration)
    return Timing(
        depart=depart,
        back=run.back,
        stops=tuple(run.stops),
        pause_at=run.pause_at,
        pause_inside=run.pause_at is not None,
        late=earliest.late,
        pause_late=run.pause_late,
        over=max(0, overtime - shift.overtime_max),
        overtime=min(overtime, shift.overtime_max),
    )


def _forward(
    travel: Travel,
    technician: Technician,
    steps: Sequence[Step],
    depart: int,
    gap: int | None,
    pause: Pause | None,
) -> _Run:
    """Everything as early as possible after leaving at ``depart``."""
    run = _Run([], 0, 0, None, 0)
    now, here = depart, technician.start
    for i, step in enumerate(steps):
        arrive = now + travel[here][step.location]
        if i == gap and pause is not None:
            arrive = _rest(run, now, arrive, pause)
        start = arrive
        if step.windows is not None:
            start = _start(arrive, step.windows)
            run.late += max(0, arrive - start)
        now, here = start + step.service, step.location
        run.stops.append(StopTime(arrive, start, now))
    run.back = now + travel[here][technician.end]
    if gap == len(steps) and pause is not None:
        run.back = _rest(run, now, run.back, pause)
    return run


def _start(arrive: int, windows: tuple[tuple[int, int], ...]) -> int:
    """Start in the first window still open, or at the close of the last one (which is too late)."""
    for opens, closes in windows:
        if arrive <= closes:
            return max(arrive, opens)
    return windows[-1][1]


def _rest(run: _Run, leave: int, arrive: int, pause: Pause) -> int:
    """Take the break on the way; driving may be interrupted for it. Returns the new arrival."""
    run.pause_at = max(leave, pause.opens)
    run.pause_late = max(0, leave - pause.latest)
    return max(arrive, pause.opens) + pause.duration


def _latest_departure(
    travel: Travel,
    technician: Technician,
    steps: Sequence[Step],
    run: _Run,
    gap: int | None,
    pause: Pause | None,
) -> int:
    """Latest moment to leave that still keeps every stop's window and the same return."""
    limit, there = run.back, technician.end
    for i in range(len(steps) - 1, -1, -1):
        step = steps[i]
        limit = _leave_by(limit, travel[step.location][there], pause if i + 1 == gap else None)
        closes = run.stops[i].start
        if step.windows is not None:
            closes = next((c for _, c in step.windows if c >= closes), closes)
            limit = min(limit, closes + step.service)
        limit, there = limit - step.service, step.location
    return _leave_by(limit, travel[technician.start][there], pause if gap == 0 else None)


def _leave_by(arrive_by: int, drive: int, pause: Pause | None) -> int:
    """Latest moment to set out for an arrival, with the break on the way if there is one."""
    if pause is None:
        return arrive_by - drive
    return min(arrive_by - pause.duration - drive, pause.latest)
