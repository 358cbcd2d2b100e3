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


class Pricing:
    """What drives between places cost the vehicles of a problem, a profile for each set of extra costs."""

    def __init__(self, problem: Problem, costs: Costs, places: Sequence[int], depots: int) -> None:
        self.drives: list[Any] = []
        self._usual = costs.drives[np.ix_(places, places)]
        self._travel = problem.travel[np.ix_(places, places)]
        self._depots = depots
        self._known: dict[bytes, int] = {}

    @property
    def travel(self) -> list[Any]:
        """Driving times for every profile: all the same."""
        return [self._travel] * len(self.drives)

    def profile(self, extra: NDArray[np.int64]) -> int:
        """The number of the profile in which arriving at a client costs so much more."""
        key = extra.tobytes()
        if key not in self._known:
            self._known[key] = len(self.drives)
            drives = self._usual.copy()
            drives[:, self._depots :] += extra
            np.fill_diagonal(drives, 0)
            self.drives.append(drives)
        return self._known[key]


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
        depots = sorted({place for v in self.vehicles for place in self.ends(v)})
        options = range(len(self.options.all))
        places = depots + [self.job(o).location for o in options]
        pricing = Pricing(self.problem, self.costs, places, len(depots))
        types = [
            self.vehicle_type(vehicles, depots, pricing.profile(self.entry_costs[vehicles[0]]))
            for vehicles in self.types
        ]
        group_of = {o: g for g, those in enumerate(self.options.exclusive) for o in those}
        return pyvrp.ProblemData(
            [pyvrp.Location(0, 0) for _ in places],
            [self.client(o, len(depots) + o, required=False, group=group_of.get(o)) for o in options],
            [pyvrp.Depot(i) for i in range(len(depots))],
            types,
            pricing.drives,
            pricing.travel,
            [pyvrp.ClientGroup(list(those), required=False) for those in self.options.exclusive],
        )

    def ends(self, vehicle: Vehicle) -> tuple[int, int]:
        """Where a vehicle's rounds begin and end."""
        technician = self.problem.technicians[vehicle.technician]
        return technician.start, technician.end

    def client(
        self, option: int, place: int, *, required: bool = True, group: int | None = None
    ) -> pyvrp.Client:
        """An option as PyVRP sees it, at one of the places of its data."""
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

    def vehicle_type(self, vehicles: Sequence[int], depots: list[int], profile: int) -> pyvrp.VehicleType:
        """Vehicles that are alike, as PyVRP sees them; ``depots`` are the first places of its data."""
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
