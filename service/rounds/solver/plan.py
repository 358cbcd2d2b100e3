"""A finished plan: rounds with their times, what they cost, and who is not served."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from .day import Day
from .options import FAR_FUTURE
from .problem import Problem, Shift, Technician
from .screen import Reason
from .timing import Step, Timing, schedule
from .week import Model, Snapshot


@dataclass(frozen=True, slots=True)
class Round:
    """One technician's round on one day; ``steps`` are the stops in order, one for each visit."""

    technician: int
    shift: Shift
    visits: tuple[int, ...]
    steps: tuple[Step, ...]
    timing: Timing

    @property
    def day(self) -> int:
        """The day of the round."""
        return self.shift.day


@dataclass
class Plan:
    """The rounds of the week and the reasons for the visits that are in none of them."""

    problem: Problem
    rounds: list[Round]
    reasons: dict[int, Reason] = field(default_factory=dict)

    def days_of(self) -> dict[int, dict[int, int]]:
        """For every visit that is served: its days, and who comes."""
        days: dict[int, dict[int, int]] = {}
        for item in self.rounds:
            for visit in item.visits:
                days.setdefault(visit, {})[item.day] = item.technician
        return days

    def unserved(self) -> list[int]:
        """Visits that are in no round."""
        served = self.days_of()
        return [visit for visit in range(len(self.problem.visits)) if visit not in served]


@dataclass(frozen=True, slots=True)
class Figures:
    """What people compare plans by, [ticks], [metres or units], counts."""

    driving: int
    working: int
    waiting: int
    resting: int
    overtime: int
    duration: int
    distance: float
    vehicle_days: int
    moved: int
    changed_technician: int


def make_round(
    problem: Problem, technician: int, shift: Shift, visits: tuple[int, ...], steps: tuple[Step, ...]
) -> Round:
    """A round with the best times for its order."""
    timing = schedule(problem.travel_rows, problem.technicians[technician], shift, steps)
    return Round(technician, shift, visits, steps, timing)


def plan_from(model: Model, snapshot: Snapshot) -> Plan:
    """The plan that the search found."""
    rounds = []
    for day, routes in zip(model.days, snapshot.routes, strict=True):
        if day is None:
            continue
        free = [list(vehicles) for vehicles in day.types]
        for vehicle_type, options in routes:
            vehicle = day.vehicles[free[vehicle_type].pop(0)]
            visits, steps = _stops(day, options)
            rounds.append(make_round(model.problem, vehicle.technician, vehicle.shift, visits, steps))
    rounds.sort(key=lambda r: (r.day, r.technician, r.shift.starts))
    return Plan(model.problem, rounds, dict(model.catalogue.reasons))


def _stops(day: Day, options: Iterable[int]) -> tuple[tuple[int, ...], tuple[Step, ...]]:
    """Visits in order with the spans in which the search has them start."""
    visits: list[int] = []
    steps: list[Step] = []
    for number in options:
        option, job, offset = day.options.all[number], day.job(number), 0
        for visit in job.visits:
            service = day.problem.visits[visit].service
            span = (option.opens + offset, option.closes + offset)
            visits.append(visit)
            steps.append(Step(job.location, service, None if option.closes >= FAR_FUTURE else (span,)))
            offset += service
    return tuple(visits), tuple(steps)


def previous_plan(problem: Problem) -> Plan:
    """The plan in force as the request gives it, each round on the technician's shift it fits best."""
    rounds = []
    for route in problem.previous or ():
        shifts = [s for s in problem.technicians[route.technician].shifts if s.day == route.day]
        steps = tuple(visit_step(problem, visit, route.day) for visit in route.visits)
        found = [make_round(problem, route.technician, shift, route.visits, steps) for shift in shifts]
        if found and route.visits:
            rounds.append(min(found, key=lambda r: r.timing.excess))
    return Plan(problem, rounds)


def visit_step(problem: Problem, visit: int, day: int) -> Step:
    """A visit as a stop on a day."""
    item = problem.visits[visit]
    return Step(item.location, item.service, item.windows_on(day))


def distance_of(problem: Problem, technician: Technician, steps: Iterable[Step]) -> float:
    """Length of a round, [metres or units]."""
    places = _places(technician, steps)
    return sum(float(problem.metres[a, b]) for a, b in pairwise(places))


def driving_of(problem: Problem, technician: Technician, steps: Iterable[Step]) -> int:
    """Driving time of a round, [ticks]."""
    rows = problem.travel_rows
    return sum(rows[a][b] for a, b in pairwise(_places(technician, steps)))


def _places(technician: Technician, steps: Iterable[Step]) -> list[int]:
    return [technician.start, *(step.location for step in steps), technician.end]


def round_cost(problem: Problem, item: Round) -> float:
    """Price of one round."""
    prices, technician = problem.prices, problem.technicians[item.technician]
    seconds = 1 / problem.ticks_per_second
    return (
        prices.distance * distance_of(problem, technician, item.steps)
        + prices.driving * driving_of(problem, technician, item.steps) * seconds
        + prices.duration * item.timing.duration * seconds
        + prices.overtime * item.timing.overtime * seconds
        + prices.vehicle_day
    )


def plan_cost(plan: Plan) -> float:
    """Price of the plan: its rounds, what was moved, and the penalties of optional visits left out."""
    problem, figures = plan.problem, plan_figures(plan)
    left_out = (problem.visits[visit] for visit in plan.unserved())
    penalties = sum(visit.drop_penalty or 0.0 for visit in left_out if visit.optional)
    return (
        sum(round_cost(problem, item) for item in plan.rounds)
        + problem.prices.moved_visit * figures.moved
        + problem.prices.moved_technician * figures.changed_technician
        + problem.prices.not_preferred * _second_choices(plan)
        + penalties
    )


def _second_choices(plan: Plan) -> int:
    """Days on which a visit is done by somebody whom it does not prefer."""
    served = plan.days_of().items()
    return sum(plan.problem.is_second_choice(visit, who) for visit, days in served for who in days.values())


def plan_figures(plan: Plan) -> Figures:
    """The sums of all rounds."""
    problem, rounds = plan.problem, plan.rounds
    technicians = [problem.technicians[item.technician] for item in rounds]
    moved, changed = _moves(problem, plan.days_of())
    return Figures(
        driving=sum(driving_of(problem, t, r.steps) for t, r in zip(technicians, rounds, strict=True)),
        working=sum(step.service for item in rounds for step in item.steps),
        waiting=sum(stop.start - stop.arrive for item in rounds for stop in item.timing.stops),
        resting=sum(r.shift.pause.duration for r in rounds if r.shift.pause and r.timing.pause_inside),
        overtime=sum(item.timing.overtime for item in rounds),
        duration=sum(item.timing.duration for item in rounds),
        distance=sum(distance_of(problem, t, r.steps) for t, r in zip(technicians, rounds, strict=True)),
        vehicle_days=len({(item.technician, item.shift) for item in rounds}),
        moved=moved,
        changed_technician=changed,
    )


def _moves(problem: Problem, days: Mapping[int, Mapping[int, int]]) -> tuple[int, int]:
    """Days of the previous plan that visits leave, and days they keep with somebody else."""
    moved = changed = 0
    for visit, before in problem.previous_days.items():
        now = days.get(visit)
        if now is None:
            continue
        moved += len(set(before) - set(now))
        changed += sum(now[day] != who for day, who in before.items() if day in now)
    return moved, changed
