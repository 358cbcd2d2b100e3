"""One day as a vehicle routing problem for PyVRP: who can drive, what could be done, what it costs.

Everything about PyVRP 0.14 that is not plain use of its documented model is in this file and in
``board.py``: a day's data are built once with every job that could fall on the day as an optional
client, and local search moves that neither add nor remove clients then route exactly the jobs given.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pyvrp
from numpy.typing import NDArray
from pyvrp.search import NeighbourhoodParams, compute_neighbours

from .costs import FORBIDDEN, LONGEST_ROUTE, Costs
from .jobs import Job
from .patterns import Catalogue, DayWork
from .problem import Pause, Problem, Shift

PRIZE = 2**42
"""What serving an optional client earns: so much that the search computes every insertion in full."""
FAR_FUTURE = 2**40
NEIGHBOURS = 30


@dataclass(frozen=True, slots=True)
class Option:
    """A client of the day: one job, to be started in one span of time, [ticks]."""

    job: int
    opens: int
    closes: int


@dataclass(frozen=True, slots=True)
class Vehicle:
    """One technician's one shift."""

    technician: int
    shift: Shift


class Day:
    """The options and vehicles of a day, and PyVRP's data for them."""

    def __init__(self, problem: Problem, catalogue: Catalogue, costs: Costs, day: int) -> None:
        self.problem = problem
        self.costs = costs
        self.day = day
        self.catalogue = catalogue
        self.options: list[Option] = []
        self.options_of: dict[int, tuple[int, ...]] = {}
        self.bundles: dict[DayWork, tuple[tuple[int, ...], ...]] = {}
        self._number: dict[Option, int] = {}
        self._windowed: list[tuple[int, ...]] = []
        self._add_work()
        self.vehicles = [
            Vehicle(t, shift)
            for t, technician in enumerate(problem.technicians)
            for shift in technician.shifts
            if shift.day == day
        ]

    @property
    def is_empty(self) -> bool:
        """Nothing can be done this day; such a day must not be given to PyVRP."""
        return not (self.options and self.vehicles)

    def _add_work(self) -> None:
        works = {
            work
            for unit in self.catalogue.units
            for choice in unit.choices
            for work in choice.work
            if work.day == self.day
        }
        for work in sorted(works, key=lambda work: work.jobs):
            if work.bundles:
                self._add_bundles(work)
                continue
            for job in work.jobs:
                self._add_windows(job)

    def _add_windows(self, job: int) -> None:
        windows = self.catalogue.jobs[job].windows
        numbers = tuple(self._option(Option(job, *span)) for span in windows or ((0, FAR_FUTURE),))
        self.options_of[job] = numbers
        if len(numbers) > 1:
            self._windowed.append(numbers)

    def _add_bundles(self, work: DayWork) -> None:
        numbered = tuple(
            tuple(self._option(Option(job, *span)) for job, span in zip(work.jobs, spans, strict=True))
            for spans in work.bundles
        )
        self.bundles[work] = numbered
        for at, job in enumerate(work.jobs):
            self.options_of[job] = tuple(dict.fromkeys(numbers[at] for numbers in numbered))

    def _option(self, option: Option) -> int:
        if option not in self._number:
            self._number[option] = len(self.options)
            self.options.append(option)
        return self._number[option]

    def job(self, option: int) -> Job:
        """The job an option is about."""
        return self.catalogue.jobs[self.options[option].job]

    @cached_property
    def is_exact(self) -> bool:
        """Whether PyVRP's own cost and feasibility are the true ones: no break and no overtime."""
        return all(v.shift.pause is None and v.shift.overtime_max == 0 for v in self.vehicles)

    @cached_property
    def swaps_windows(self) -> bool:
        """Whether local search may change the window a job is done in."""
        return bool(self._windowed)

    @cached_property
    def entry_costs(self) -> NDArray[np.int64]:
        """Extra cost of options (columns) for vehicles (rows): forbidden, or a change of technician."""
        extra = np.zeros((len(self.vehicles), len(self.options)), dtype=np.int64)
        for o in range(len(self.options)):
            for v, vehicle in enumerate(self.vehicles):
                extra[v, o] = self._entry_cost(self.job(o), vehicle.technician)
        return extra

    def _entry_cost(self, job: Job, technician: int) -> int:
        problem, cost = self.problem, 0
        for visit in job.visits:
            if not problem.may_serve(problem.visits[visit], technician, self.day):
                return FORBIDDEN
            before = problem.previous_days.get(visit, {}).get(self.day)
            cost += self.costs.changed_technician if before not in (None, technician) else 0
        return cost

    @cached_property
    def types(self) -> list[list[int]]:
        """Vehicles that are alike in everything, so that PyVRP need not try each of them."""
        alike: dict[object, list[int]] = {}
        for v, vehicle in enumerate(self.vehicles):
            technician = self.problem.technicians[vehicle.technician]
            key = (
                technician.start,
                technician.end,
                technician.capacity,
                vehicle.shift,
                self.entry_costs[v].tobytes(),
            )
            alike.setdefault(key, []).append(v)
        return list(alike.values())

    @cached_property
    def data(self) -> pyvrp.ProblemData:
        """PyVRP's data with every option as an optional client."""
        return self.build(range(len(self.options)), required=False)

    def build(self, chosen: Sequence[int], *, required: bool) -> pyvrp.ProblemData:
        """PyVRP's data for some options; client i is ``chosen[i]``."""
        depots = sorted({place for v in self.vehicles for place in self._ends(v)})
        places = depots + [self.job(o).location for o in chosen]
        profiles: dict[bytes, int] = {}
        costs: list[Any] = []
        times: list[Any] = []
        drives = self.costs.drives[np.ix_(places, places)]
        travel = self.problem.travel[np.ix_(places, places)]
        types = []
        for vehicles in self.types:
            extra = self.entry_costs[vehicles[0]][list(chosen)]
            key = extra.tobytes()
            if key not in profiles:
                profiles[key] = len(costs)
                priced = drives.copy()
                priced[:, len(depots) :] += extra
                np.fill_diagonal(priced, 0)
                costs.append(priced)
                times.append(travel)
            types.append(self._vehicle_type(vehicles, depots, profiles[key]))
        groups, group_of = self._groups(chosen, required)
        return pyvrp.ProblemData(
            [pyvrp.Location(0, 0) for _ in places],
            [self._client(o, len(depots) + i, required, group_of.get(i)) for i, o in enumerate(chosen)],
            [pyvrp.Depot(i) for i in range(len(depots))],
            types,
            costs,
            times,
            groups,
        )

    def _ends(self, vehicle: Vehicle) -> tuple[int, int]:
        technician = self.problem.technicians[vehicle.technician]
        return technician.start, technician.end

    def _groups(
        self, chosen: Sequence[int], required: bool
    ) -> tuple[list[pyvrp.ClientGroup], dict[int, int]]:
        """Windows of one job exclude each other; only while the clients are optional."""
        if required:
            return [], {}
        at = {o: i for i, o in enumerate(chosen)}
        groups = [pyvrp.ClientGroup([at[o] for o in options], required=False) for options in self._windowed]
        return groups, {at[o]: g for g, options in enumerate(self._windowed) for o in options}

    def _client(self, option: int, place: int, required: bool, group: int | None) -> pyvrp.Client:
        job = self.job(option)
        opens, closes = self._squeezed(self.options[option])
        return pyvrp.Client(
            place,
            delivery=[job.load],
            service_duration=job.service,
            tw_early=opens,
            tw_late=closes,
            prize=0 if required else PRIZE,
            required=required,
            group=group,
        )

    def _vehicle_type(self, vehicles: Sequence[int], depots: list[int], profile: int) -> pyvrp.VehicleType:
        vehicle = self.vehicles[vehicles[0]]
        technician, shift = self.problem.technicians[vehicle.technician], vehicle.shift
        rest = shift.pause.duration if shift.pause else 0
        longest = shift.ends - shift.starts if shift.max_duration is None else shift.max_duration
        return pyvrp.VehicleType(
            num_available=len(vehicles),
            capacity=[FAR_FUTURE if technician.capacity is None else technician.capacity],
            start_depot=depots.index(technician.start),
            end_depot=depots.index(technician.end),
            fixed_cost=self.costs.vehicle_day,
            tw_early=shift.starts,
            tw_late=max(shift.starts, shift.latest_back - rest),
            shift_duration=max(0, longest - rest),
            max_distance=LONGEST_ROUTE,
            unit_distance_cost=1,
            unit_duration_cost=self.costs.duration,
            profile=profile,
            max_overtime=shift.overtime_max,
            unit_overtime_cost=self.costs.overtime,
        )

    @cached_property
    def _pause(self) -> Pause | None:
        """One break that stands for all breaks of the day while PyVRP searches; it knows none."""
        pauses = [vehicle.shift.pause for vehicle in self.vehicles if vehicle.shift.pause]
        if not pauses:
            return None
        return Pause(
            min(p.opens for p in pauses), max(p.closes for p in pauses), max(p.duration for p in pauses)
        )

    def _squeezed(self, option: Option) -> tuple[int, int]:
        """The option's span on a clock that stands still during the break.

        A span after the break moves forward by its length. One that may lie on either side closes
        earlier by the break, so that it is kept whenever the break is taken; ``timing`` has the last word.
        """
        pause, opens, closes = self._pause, option.opens, option.closes
        if pause is None or closes <= pause.opens:
            return opens, closes
        if opens >= pause.closes:
            return opens - pause.duration, closes - pause.duration
        return opens, max(opens, closes - pause.duration)

    @cached_property
    def neighbours(self) -> dict[pyvrp.Activity, list[pyvrp.Activity]]:
        """For each option the options worth placing it next to."""
        return compute_neighbours(self.data, NeighbourhoodParams(num_neighbours=NEIGHBOURS))
