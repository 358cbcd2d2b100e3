"""Where one more visit fits into finished rounds, the other stops keeping their order."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from .plan import Plan, Round, make_round, round_cost, visit_step
from .problem import Problem, Shift
from .timing import Step


@dataclass(frozen=True, slots=True)
class Slot:
    """A visit put into a round; ``before`` is None when the technician was idle."""

    before: Round | None
    after: Round
    position: int
    added: float
    """Added price."""
    excess: int
    """Time by which the round would break its limits, [ticks], beyond what it broke before."""
    excess_load: int

    @property
    def fits(self) -> bool:
        """Whether all limits are kept."""
        return self.excess == 0 and self.excess_load == 0


@dataclass(frozen=True, slots=True)
class _Candidate:
    bound: float
    base: Round | None
    technician: int
    shift: Shift
    position: int


def slots(plan: Plan, visit: int, day: int) -> list[Slot]:
    """Every place on a day, those that fit first, then those that miss least; by price within these."""
    found = [_try(plan, visit, candidate) for candidate in _candidates(plan, visit, day)]
    linked = [slot for slot in found if _keeps_links(plan, visit, slot)]
    return sorted(linked, key=lambda s: (s.excess_load > 0, s.excess, s.added))


def cheapest(plan: Plan, visit: int, days: Iterable[int], most: int) -> list[Slot]:
    """The cheapest place that fits in each of the cheapest rounds.

    Places are timed in the order of a bound on their price, and only as long as they can be among them.
    """
    best: dict[tuple[int, Shift], Slot] = {}
    candidates = [candidate for day in days for candidate in _candidates(plan, visit, day)]
    for candidate in sorted(candidates, key=lambda c: c.bound):
        prices = sorted(slot.added for slot in best.values())
        if len(prices) >= most and candidate.bound >= prices[most - 1]:
            break
        slot = _try(plan, visit, candidate)
        key = (candidate.technician, candidate.shift)
        if key in best and best[key].added <= slot.added:
            continue
        if slot.fits and _keeps_links(plan, visit, slot):
            best[key] = slot
    return sorted(best.values(), key=lambda slot: slot.added)[:most]


def put(plan: Plan, slot: Slot) -> None:
    """Use a slot."""
    if slot.before is not None:
        plan.rounds.remove(slot.before)
    plan.rounds.append(slot.after)
    plan.rounds.sort(key=lambda r: (r.day, r.technician, r.shift.starts))


def _candidates(plan: Plan, visit: int, day: int) -> Iterator[_Candidate]:
    """Every position in every suitable round or idle shift, with a bound on its added price."""
    problem, item = plan.problem, plan.problem.visits[visit]
    if item.after and not any(d <= day for d in plan.days_of().get(item.after.visit, ())):
        return
    rounds = {(r.technician, r.shift): r for r in plan.rounds if r.day == day}
    for number, technician in enumerate(problem.technicians):
        if not problem.may_serve(item, number, day):
            continue
        for shift in technician.shifts:
            if shift.day == day:
                base = rounds.get((number, shift))
                yield from _positions(problem, visit, number, shift, base)


def _positions(
    problem: Problem, visit: int, technician: int, shift: Shift, base: Round | None
) -> Iterator[_Candidate]:
    person, place = problem.technicians[technician], problem.visits[visit].location
    steps = base.steps if base else ()
    places = [person.start, *(step.location for step in steps), person.end]
    for position in range(len(steps) + 1):
        a, b = places[position], places[position + 1]
        bound = _drive(problem, a, place) + _drive(problem, place, b) - _drive(problem, a, b)
        if base is None:
            bound += _drive(problem, a, b) + problem.prices.vehicle_day
        yield _Candidate(bound, base, technician, shift, position)


def _drive(problem: Problem, a: int, b: int) -> float:
    seconds = problem.travel_rows[a][b] / problem.ticks_per_second
    return problem.prices.distance * float(problem.metres[a, b]) + problem.prices.driving * seconds


def _try(plan: Plan, visit: int, candidate: _Candidate) -> Slot:
    problem, base, at = plan.problem, candidate.base, candidate.position
    step = _linked_step(plan, visit, candidate.shift.day)
    visits = base.visits if base else ()
    steps = base.steps if base else ()
    longer = make_round(
        problem,
        candidate.technician,
        candidate.shift,
        (*visits[:at], visit, *visits[at:]),
        (*steps[:at], step, *steps[at:]),
    )
    return Slot(
        before=base,
        after=longer,
        position=at,
        added=round_cost(problem, longer) - (round_cost(problem, base) if base else 0.0),
        excess=max(0, longer.timing.excess - (base.timing.excess if base else 0)),
        excess_load=_excess_load(problem, longer),
    )


def _excess_load(problem: Problem, item: Round) -> int:
    capacity = problem.technicians[item.technician].capacity
    if capacity is None:
        return 0
    return max(0, sum(problem.visits[v].load for v in item.visits) - capacity)


def _linked_step(plan: Plan, visit: int, day: int) -> Step:
    """The visit as a stop, opening late enough after the visit it follows."""
    problem, step = plan.problem, visit_step(plan.problem, visit, day)
    after = problem.visits[visit].after
    if after is None:
        return step
    left = {d: leave for d, (_, leave) in _times(plan, after.visit).items() if d <= day}
    if day in left:
        left = {day: left[day]}
    opens = min(leave + after.min_gap - (day - d) * problem.day_ticks for d, leave in left.items())
    windows = step.windows or ((0, max(s.latest_back for s in _shifts(problem, day))),)
    later = tuple((max(a, opens), b) for a, b in windows if b >= opens)
    return Step(step.location, step.service, later or ((windows[-1][1], windows[-1][1]),))


def _shifts(problem: Problem, day: int) -> list[Shift]:
    return [s for technician in problem.technicians for s in technician.shifts if s.day == day]


def _keeps_links(plan: Plan, visit: int, slot: Slot) -> bool:
    """Whether the visits together stay with one person and every gap between visits is kept."""
    problem, day = plan.problem, slot.after.day
    is_alone = problem.together.count(problem.together[visit]) == 1
    for item in () if is_alone else plan.rounds:
        if item.day != day or item is slot.before or item.technician == slot.after.technician:
            continue
        if any(problem.are_together(visit, other) for other in item.visits):
            return False
    return all(_keeps_gap(plan, slot, first, second) for first, second in _gaps(plan, slot))


def _gaps(plan: Plan, slot: Slot) -> Iterator[tuple[int, int]]:
    """Pairs (first, second) of which at least one is in the changed round."""
    changed = set(slot.after.visits)
    for first, second in plan.problem.followed:
        if second in changed or first in changed:
            yield first, second


def _keeps_gap(plan: Plan, slot: Slot, first: int, second: int) -> bool:
    """Whether the second visit still comes late enough on each of its days, once the slot is used."""
    after = plan.problem.visits[second].after
    assert after is not None
    firsts, seconds = _times(plan, first, slot), _times(plan, second, slot)
    for day, (start, _) in seconds.items():
        earlier = [day] if day in firsts else [d for d in firsts if d < day]
        gaps = [start + (day - d) * plan.problem.day_ticks - firsts[d][1] for d in earlier]
        if max(gaps, default=-1) < after.min_gap:
            return False
    return True


def _times(plan: Plan, visit: int, slot: Slot | None = None) -> dict[int, tuple[int, int]]:
    """(start, leave) of a visit on each of its days; with a slot, once that is used."""
    rounds = plan.rounds
    if slot is not None:
        rounds = [slot.after, *(item for item in rounds if item is not slot.before)]
    found = {}
    for item in rounds:
        if visit in item.visits:
            stop = item.timing.stops[item.visits.index(visit)]
            found[item.day] = (stop.start, stop.leave)
    return found
