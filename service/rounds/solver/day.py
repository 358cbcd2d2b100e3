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
from .options import FAR_FUTURE, Options
from .patterns import Catalogue
from .problem import Problem, Shift

PRIZE = 2**46
"""What serving an optional client earns: so much that the search computes every insertion in full."""
MOST_NEAR = 300
"""Near options remembered for each option."""
NEIGHBOURS, PRESENT_NEIGHBOURS = 24, 18
"""Of these, how many the search looks at, and how many of them at most because they are in use."""


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
        self.vehicles = [
            Vehicle(t, shift)
            for t, technician in enumerate(problem.technicians)
            for shift in technician.shifts
            if shift.day == day
        ]
        self.options = Options(catalogue, day, [vehicle.shift for vehicle in self.vehicles])

    @property
    def is_empty(self) -> bool:
        """Nothing can be done this day; such a day must not be given to PyVRP."""
        return not (self.options.all and self.vehicles)

    def job(self, option: int) -> Job:
        """The job an option is about."""
        return self.catalogue.jobs[self.options.all[option].job]

    @cached_property
    def is_exact(self) -> bool:
        """Whether PyVRP's own cost and feasibility are the true ones: no break and no overtime."""
        return all(v.shift.pause is None and v.shift.overtime_max == 0 for v in self.vehicles)

    @cached_property
    def entry_costs(self) -> NDArray[np.int64]:
        """Extra cost of options (columns) for vehicles (rows): forbidden, or a change of technician."""
        options = self.options.all
        extra = np.zeros((len(self.vehicles), len(options)), dtype=np.int64)
        for v, vehicle in enumerate(self.vehicles):
            pause = self.options.pauses.index(vehicle.shift.pause)
            for o, option in enumerate(options):
                suits = option.pause in (None, pause)
                extra[v, o] = self._entry_cost(self.job(o), vehicle.technician) if suits else FORBIDDEN
        return extra

    def _entry_cost(self, job: Job, technician: int) -> int:
        problem, cost = self.problem, 0
        for visit in job.visits:
            if not problem.may_serve(problem.visits[visit], technician, self.day):
                return FORBIDDEN
            before = problem.previous_days.get(visit, {}).get(self.day)
            cost += self.costs.changed_technician if before not in (None, technician) else 0
            cost += self.costs.not_preferred if problem.is_second_choice(visit, technician) else 0
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
        return self.build(range(len(self.options.all)), required=False)

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
        """Options of one job exclude each other; only while the clients are optional."""
        if required:
            return [], {}
        at = {o: i for i, o in enumerate(chosen)}
        groups = [
            pyvrp.ClientGroup([at[o] for o in options], required=False) for options in self.options.exclusive
        ]
        return groups, {at[o]: g for g, options in enumerate(self.options.exclusive) for o in options}

    def _client(self, option: int, place: int, required: bool, group: int | None) -> pyvrp.Client:
        job = self.job(option)
        opens, closes = self.options.all[option].clock
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
    def near(self) -> NDArray[np.int64]:
        """For each option (row) the others worth placing it next to, nearest first."""
        most = max(1, min(len(self.options.all) - 1, MOST_NEAR))
        lists = compute_neighbours(self.data, NeighbourhoodParams(num_neighbours=most))
        near = [[0]] * len(self.options.all)
        for option, others in lists.items():
            near[option.idx] = [other.idx for other in others]
        return np.array(near, dtype=np.int64).reshape(len(near), -1)
