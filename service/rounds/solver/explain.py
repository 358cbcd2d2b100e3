"""Why a visit is left out although someone could serve it: what comes closest, and what is missing."""

from collections.abc import Sequence
from dataclasses import dataclass

from . import words
from .fit import Slot, put, slots
from .plan import Plan
from .problem import Problem
from .screen import Reason, Screening, allowed_choices


@dataclass(frozen=True, slots=True)
class _Attempt:
    """The best slots of one day choice, one for each day."""

    slots: Sequence[Slot]

    @property
    def worst(self) -> Slot:
        """The day that comes least close."""
        return max(self.slots, key=lambda s: (s.excess_load > 0, s.excess, s.added))

    @property
    def fits(self) -> bool:
        """Whether every day has a place."""
        return all(slot.fits for slot in self.slots)

    @property
    def added(self) -> float:
        """Added price over all days."""
        return sum(slot.added for slot in self.slots)


def finish(plan: Plan, screening: Screening) -> None:
    """Give every unserved visit a last chance in the finished rounds, and a reason if it has none."""
    for visit in plan.unserved():
        if visit in plan.reasons:
            continue
        attempts = _attempts(plan, visit, screening.open_days[visit])
        fitting = [attempt for attempt in attempts if attempt.fits]
        cheapest = min(fitting, key=lambda a: a.added, default=None)
        if cheapest and _is_worth_it(plan.problem, visit, cheapest.added):
            for slot in cheapest.slots:
                put(plan, slot)
            continue
        plan.reasons[visit] = _reason(plan, visit, attempts, cheapest)


def reason_for(plan: Plan, visit: int, open_days: frozenset[int]) -> Reason:
    """Why a visit that could be served alone cannot be put into finished rounds."""
    attempts = _attempts(plan, visit, open_days)
    fitting = [attempt for attempt in attempts if attempt.fits]
    return _reason(plan, visit, attempts, min(fitting, key=lambda a: a.added, default=None))


def _attempts(plan: Plan, visit: int, open_days: frozenset[int]) -> list[_Attempt]:
    item = plan.problem.visits[visit]
    choices = [days for days in allowed_choices(item, open_days) if _suits(plan, visit, days)]
    best = {day: slots(plan, visit, day)[:1] for day in sorted({d for days in choices for d in days})}
    found = []
    for days in choices:
        chosen = [best[day][0] for day in days if best[day]]
        if len(chosen) == len(days):
            found.append(_Attempt(chosen))
    return found


def _is_worth_it(problem: Problem, visit: int, added: float) -> bool:
    item = problem.visits[visit]
    return not item.optional or item.drop_penalty is None or added <= item.drop_penalty


def _suits(plan: Plan, visit: int, days: tuple[int, ...]) -> bool:
    """Whether the days suit the visits that must be together with this one and are served."""
    served = plan.days_of()
    others = [set(served[v]) for v in served if plan.problem.are_together(visit, v)]
    return all(set(days) <= other or other <= set(days) for other in others)


def _reason(plan: Plan, visit: int, attempts: Sequence[_Attempt], cheapest: _Attempt | None) -> Reason:
    problem = plan.problem
    if cheapest is not None:
        return _too_dear(problem, visit, cheapest)
    if not attempts:
        return Reason(
            "linked",
            "no technician can take it together with the visits it is linked to",
            "one of the linked visits were moved or the link were lifted",
        )
    return _closest(problem, visit, min(attempts, key=_miss))


def _miss(attempt: _Attempt) -> tuple[bool, int, float]:
    worst = attempt.worst
    return worst.excess_load > 0, sum(slot.excess for slot in attempt.slots), attempt.added


def _too_dear(problem: Problem, visit: int, attempt: _Attempt) -> Reason:
    slot, penalty = attempt.worst, problem.visits[visit].drop_penalty or 0.0
    day, who = words.day_name(slot.after.day), problem.technicians[slot.after.technician].id
    return Reason(
        "too_dear",
        f"it would fit on {day} with {who} but costs {attempt.added - penalty:.2f} more than leaving it out",
        f"its drop penalty were at least {attempt.added:.2f}",
        day=slot.after.day,
        technician=who,
    )


def _closest(problem: Problem, visit: int, attempt: _Attempt) -> Reason:
    """What is missing on the day that comes closest."""
    slot = attempt.worst
    day, who = words.day_name(slot.after.day), problem.technicians[slot.after.technician].id
    if slot.excess_load:
        load = words.load(problem, slot.excess_load)
        return Reason(
            "no_room",
            f"the vans are full: closest is {who} on {day}, {load} over the load",
            f"the van of {who} could take {load} more on {day}",
            day=slot.after.day,
            technician=who,
        )
    missing = words.span(problem, slot.excess)
    limits = _limits(problem, slot)
    return Reason(
        "no_room",
        f"no room: closest is {who} on {day}, {limits}",
        f"{who} had {missing} more on {day}, or another visit were moved",
        day=slot.after.day,
        technician=who,
        missing=slot.excess,
    )


def _limits(problem: Problem, slot: Slot) -> str:
    """The limits that would be broken, by how much."""
    timing, before = slot.after.timing, slot.before.timing if slot.before else None
    broken = [
        (timing.over - (before.over if before else 0), "over the shift"),
        (timing.late - (before.late if before else 0), "late for a window"),
        (timing.pause_late - (before.pause_late if before else 0), "late for the break"),
    ]
    return ", ".join(f"{words.span(problem, by)} {what}" for by, what in broken if by > 0)
