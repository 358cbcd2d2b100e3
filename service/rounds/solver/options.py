"""What could be done on a day: every job, in each of its windows, before or after the break.

PyVRP knows no breaks. It is given a clock that stands still during the break: what is done after the
break moves forward by its length. A job that may fall on either side of the break becomes two
options that exclude each other. The exact times are computed by ``timing`` all the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from .jobs import Job, Span
from .patterns import Catalogue, DayWork
from .problem import Pause, Shift

FAR_FUTURE = 2**44
MOST_PAUSES = 3
"""Different breaks of one day (none counts as one) for which options are told apart."""


@dataclass(frozen=True, slots=True)
class Option:
    """One job, to be started within ``opens`` to ``closes``, [ticks].

    ``clock`` is the same for PyVRP's clock. ``pause`` numbers the break for which it holds; None if it
    holds for everybody.
    """

    job: int
    opens: int
    closes: int
    clock: Span
    pause: int | None


class Options:
    """The options of a day by number, and which of them exclude each other."""

    def __init__(self, catalogue: Catalogue, day: int, shifts: Sequence[Shift]) -> None:
        self.all: list[Option] = []
        self.of_job: dict[int, tuple[int, ...]] = {}
        self.ways: dict[DayWork, list[list[tuple[int, ...]]]] = {}
        """For work whose jobs follow each other: for each way to time them the options of each job."""
        self.exclusive: list[tuple[int, ...]] = []
        self.pauses = list(dict.fromkeys(shift.pause for shift in shifts))
        self._jobs = catalogue.jobs
        self._known: dict[tuple[int, Span], tuple[int, ...]] = {}
        self._hours = (
            min((s.starts for s in shifts), default=0),
            max((s.latest_back for s in shifts), default=0),
        )
        units = catalogue.units
        works = {w for unit in units for choice in unit.choices for w in choice.work if w.day == day}
        for work in sorted(works, key=lambda work: work.jobs):
            self._add(work)

    def alternatives(self) -> set[tuple[int, ...]]:
        """Every set of options that may be exchanged for each other."""
        timed = {options for ways in self.ways.values() for way in ways for options in way}
        numbers = {option for options in timed for option in options}
        return timed | {options for options in self.of_job.values() if numbers.isdisjoint(options)}

    def _add(self, work: DayWork) -> None:
        if work.bundles:
            self._add_ways(work)
            return
        for job in work.jobs:
            spans = self._jobs[job].windows or ((0, FAR_FUTURE),)
            self.of_job[job] = tuple(o for span in spans for o in self._numbers(job, span))
            self._exclude(self.of_job[job])

    def _add_ways(self, work: DayWork) -> None:
        """Only options of one span may be exchanged: the spans are what keeps the jobs apart."""
        self.ways[work] = [
            [self._numbers(job, span) for job, span in zip(work.jobs, spans, strict=True)]
            for spans in work.bundles
        ]
        for at, job in enumerate(work.jobs):
            alternatives = dict.fromkeys(way[at] for way in self.ways[work])
            self.of_job[job] = tuple(option for options in alternatives for option in options)
            for options in alternatives:
                self._exclude(options)

    def _exclude(self, options: tuple[int, ...]) -> None:
        if len(options) > 1:
            self.exclusive.append(options)

    def _numbers(self, job: int, span: Span) -> tuple[int, ...]:
        if (job, span) not in self._known:
            first = len(self.all)
            self.all.extend(Option(job, *span, clock, pause) for clock, pause in self._clocks(job, span))
            self._known[job, span] = tuple(range(first, len(self.all)))
        return self._known[job, span]

    def _clocks(self, job: int, span: Span) -> list[tuple[Span, int | None]]:
        """The spans of PyVRP's clock, for everybody or for each break."""
        pauses = self.pauses
        if len(pauses) > MOST_PAUSES:
            real = [pause for pause in pauses if pause]
            longest = max(real, key=lambda pause: pause.duration)
            pauses = [Pause(min(p.opens for p in real), max(p.closes for p in real), longest.duration)]
        each = [self._sides(self._jobs[job], span, pause) for pause in pauses]
        if all(sides == each[0] for sides in each):
            return [(side, None) for side in each[0]]
        return [(side, number) for number, sides in enumerate(each) for side in sides]

    def _sides(self, job: Job, span: Span, pause: Pause | None) -> list[Span]:
        """The span before the break and the one after it, those that are not empty."""
        opens, closes = span
        starts, ends = self._hours
        if pause is None:
            return [span]
        if opens <= starts and closes >= ends:
            if job.service <= pause.latest - pause.opens:
                return [(0, FAR_FUTURE)]
            opens, closes = 0, FAR_FUTURE
        before = (opens, min(closes, pause.latest - job.service))
        after = (max(opens - pause.duration, pause.opens), closes - pause.duration)
        sides = [(a, b) for a, b in (before, after) if a <= b]
        return sides or [(opens, max(opens, closes - pause.duration))]
