"""Plain words for the reasons the solver gives. Days are named by their number in the request."""

from collections.abc import Iterable

from .problem import Problem, Visit


def day_name(day: int) -> str:
    """A day of the request, counted from 0 as the request does."""
    return f"day {day}"


def names(ids: Iterable[str]) -> str:
    """A list of names in words: 'a', 'a and b', 'a, b and c'."""
    ordered = sorted(ids)
    if len(ordered) < 2:
        return "".join(ordered)
    return f"{', '.join(ordered[:-1])} and {ordered[-1]}"


def span(problem: Problem, ticks: int) -> str:
    """A length of time: whole minutes rounded up, or units when travel is Euclidean."""
    if problem.ticks_per_second == 1:
        return f"{-(-ticks // 60)} min"
    return f"{problem.units(ticks):g}"


def clock(problem: Problem, ticks: int) -> str:
    """A time of day, such as 09:05, or units when travel is Euclidean."""
    if problem.ticks_per_second == 1:
        return f"{ticks // 3600:02d}:{ticks % 3600 // 60:02d}"
    return f"{problem.units(ticks):g}"


def load(problem: Problem, units: int) -> str:
    """A load as the request gave it."""
    return f"{units / problem.load_scale:g}"


def technicians(problem: Problem, indices: Iterable[int]) -> str:
    """Technicians by their ids."""
    return names(problem.technicians[index].id for index in indices)


def place(problem: Problem, visit: Visit) -> str:
    """The place of a visit by its id."""
    return problem.location_ids[visit.location]
