"""From a plan to the JSON response."""

from collections.abc import Mapping
from typing import Any

from .plan import Plan, Round, distance_of, plan_cost, plan_figures
from .problem import Problem
from .screen import Reason


def plan_response(plan: Plan, *, seconds: float, **more: Any) -> dict[str, Any]:
    """The plan as the contract has it; ``more`` is added at the end."""
    problem = plan.problem
    unserved = plan.unserved()
    missing = [visit for visit in unserved if not problem.visits[visit].optional]
    return {
        "status": "incomplete" if missing else "complete",
        "cost": round(plan_cost(plan), 6),
        "figures": _figures(plan),
        "routes": [round_json(problem, item) for item in plan.rounds],
        "unserved": [reason_json(problem, visit, plan.reasons[visit]) for visit in unserved],
        "seconds": round(seconds, 3),
        "lower_bound": None,
        **more,
    }


def _figures(plan: Plan) -> dict[str, float]:
    figures, units = plan_figures(plan), plan.problem.units
    return {
        "driving": units(figures.driving),
        "working": units(figures.working),
        "waiting": units(figures.waiting),
        "break": units(figures.resting),
        "duration": units(figures.duration),
        "overtime": units(figures.overtime),
        "distance": round(figures.distance, 6),
        "vehicle_days": figures.vehicle_days,
        "moved": figures.moved,
        "changed_technician": figures.changed_technician,
    }


def round_json(problem: Problem, item: Round) -> dict[str, Any]:
    """One round. ``break`` says when the break begins, also when it lies outside the round."""
    technician, units = problem.technicians[item.technician], problem.units
    answer: dict[str, Any] = {
        "technician": technician.id,
        "day": item.day,
        "stops": [
            {
                "visit": problem.visits[visit].id,
                "arrive": units(stop.arrive),
                "start": units(stop.start),
                "leave": units(stop.leave),
            }
            for visit, stop in zip(item.visits, item.timing.stops, strict=True)
        ],
        "start": units(item.timing.depart),
        "end": units(item.timing.back),
        "distance": round(distance_of(problem, technician, item.steps), 6),
        "load": sum(problem.visits[visit].load for visit in item.visits) / problem.load_scale,
        "overtime": units(item.timing.overtime),
    }
    pause = item.shift.pause
    if pause is not None and item.timing.pause_at is not None:
        answer["break"] = {
            "start": units(item.timing.pause_at),
            "end": units(item.timing.pause_at + pause.duration),
        }
    return answer


def reason_json(problem: Problem, visit: int, reason: Reason) -> dict[str, Any]:
    """Why a visit is not served."""
    answer: dict[str, Any] = {
        "visit": problem.visits[visit].id,
        "reason": reason.reason,
        "would_fit_if": reason.would_fit_if,
        "code": reason.code,
    }
    known: Mapping[str, Any] = {"day": reason.day, "technician": reason.technician}
    answer.update({key: value for key, value in known.items() if value is not None})
    if reason.missing is not None:
        answer["missing"] = problem.units(reason.missing)
    return answer
