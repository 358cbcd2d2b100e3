"""The best week that can be put together from routes met on the way: a set-covering programme.

The programme is that of M. L. Balinski and R. E. Quandt, "On an integer program for a delivery
problem", Operations Research 12(2), 1964, 300-304, with a day choice for every unit. A route may hold
more than is due: what is done twice or for nothing is taken off afterwards.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from .board import Board, Routes, solution_from
from .day import Day
from .patterns import DayWork
from .pool import Pool, Shape
from .programme import Programme, Row
from .start import hard_penalties, improve
from .week import Model, Snapshot, Week

MOST_COLUMNS = 4000
"""Routes in the whole programme."""
MOST_NODES = 50
"""Branches tried when the search is limited by steps, so that it ends the same way every time."""

Stops = tuple[int, list[int]]
"""A route while it is mended: vehicle type, and options in order."""
Way = tuple[DayWork, int]
"""Work whose jobs follow each other, and the number of the way in which they are timed."""


@dataclass
class _Columns:
    """The programme, and what its columns stand for."""

    programme: Programme = field(default_factory=Programme)
    choices: dict[int, tuple[int, int | None]] = field(default_factory=dict)
    """Unit and choice; None leaves the unit out."""
    ways: dict[int, Way] = field(default_factory=dict)
    shapes: dict[int, Shape] = field(default_factory=dict)


def recombine(week: Week, pool: Pool, best: Snapshot, until: float | None) -> Snapshot | None:
    """A week cheaper than ``best`` from the routes of the pool, or None.

    ``until`` is a moment of the monotonic clock; None ends after so many branches. The week is used
    to try the routes out, and left as it happens to be.
    """
    for board, routes in zip(week.boards, best.routes, strict=True):
        if board is not None:
            pool.note(board, solution_from(board.day.data, routes))
    columns = _columns(week.model, pool)
    known = _known(week, pool, columns, best)
    if known is None:
        return None
    chosen = columns.programme.improve(
        known, len(columns.choices) + len(columns.ways), MOST_COLUMNS, until=until, nodes=MOST_NODES
    )
    if chosen is None:
        return None
    found = _mended(week, columns, chosen)
    if not keeps_links(week, found):
        return None
    week.restore(found)
    improve(week, hard_penalties(week.model))
    better = week.snapshot()
    return better if week.is_feasible() and better.cost < best.cost else None


def _columns(model: Model, pool: Pool) -> _Columns:
    """Every choice of every unit, every way to time linked work, every route of the pool."""
    columns = _Columns()
    programme, rows = columns.programme, columns.programme.rows
    for number, unit in enumerate(model.catalogue.units):
        rows["unit", number] = (1, 1)
        columns.choices[programme.add(unit.drop, [(("unit", number), 1)])] = number, None
        for c, choice in enumerate(unit.choices):
            due = [demand for work in choice.work for demand in _demands(model, pool, work)]
            most = 0 if unit.is_linked else math.inf
            rows.update({row: (0, 0) if row[0] == "way" else (0, most) for row in due})
            entries = [(("unit", number), 1.0), *((row, -1.0) for row in due)]
            columns.choices[programme.add(choice.constant, entries)] = number, c
    timed = {work for unit in model.catalogue.units for c in unit.choices for work in c.work if work.bundles}
    for work in sorted(timed, key=lambda work: (work.day, work.jobs)):
        for way, used in enumerate(_ways(model, pool, work)):
            rows.update(dict.fromkeys(used, (0, 0)))
            entries = [(("way", work.day, work.jobs), 1.0), *((row, -1.0) for row in used)]
            columns.ways[programme.add(0, entries)] = work, way
    for shape in pool.shapes():
        vehicle, alike = ("vehicle", shape.day, shape.vehicle_type), pool.alike[shape.day]
        held = [("job", shape.day, alike[option]) for option in shape.options]
        rows[vehicle] = (0, len(_day(model, shape.day).types[shape.vehicle_type]))
        entries = [(vehicle, 1.0), *((row, 1.0) for row in held)]
        columns.shapes[programme.add(shape.cost, entries)] = shape
    return columns


def _demands(model: Model, pool: Pool, work: DayWork) -> list[Row]:
    """The rows in which a choice asks for its work of a day."""
    if work.bundles:
        return [("way", work.day, work.jobs)]
    options = _day(model, work.day).options.of_job
    return [("job", work.day, pool.alike[work.day][options[job][0]]) for job in work.jobs]


def _ways(model: Model, pool: Pool, work: DayWork) -> list[list[Row]]:
    """The same for each way to time the jobs of the work."""
    alike = pool.alike[work.day]
    ways = _day(model, work.day).options.ways[work]
    return [[("job", work.day, alike[options[0]]) for options in way] for way in ways]


def _day(model: Model, number: int) -> Day:
    day = model.days[number]
    assert day is not None
    return day


def _known(week: Week, pool: Pool, columns: _Columns, best: Snapshot) -> list[int] | None:
    """The columns of the best week; None if it is not within all limits, or its links are broken."""
    chosen = {(unit, choice) for unit, choice in enumerate(best.chosen)}
    known = [column for column, which in columns.choices.items() if which in chosen]
    by_key = {pool.key_of(shape): column for column, shape in columns.shapes.items()}
    for day, routes in enumerate(best.routes):
        for vehicle_type, options in routes:
            column = by_key.get(pool.key_of(Shape(day, vehicle_type, options, 0)))
            if column is None:
                return None
            known.append(column)
    ways = {way: column for column, way in columns.ways.items()}
    for work in _works(week.model, best.chosen):
        if work.bundles:
            way = _way_of(week, best.routes[work.day], work)
            if way is None:
                return None
            known.append(ways[work, way])
    return known


def _works(model: Model, chosen: Sequence[int | None]) -> Iterator[DayWork]:
    """All the work that the choices ask for."""
    for unit, choice in zip(model.catalogue.units, chosen, strict=True):
        if choice is not None:
            yield from unit.choices[choice].work


def _way_of(week: Week, routes: Routes, work: DayWork) -> int | None:
    """Number of the way in which the routes of a day time jobs that follow each other."""
    used = {option for _, options in routes for option in options}
    ways = _day(week.model, work.day).options.ways[work]
    fitting = (n for n, way in enumerate(ways) if all(not used.isdisjoint(options) for options in way))
    return next(fitting, None)


def _mended(week: Week, columns: _Columns, chosen: Sequence[int]) -> Snapshot:
    """The week that the columns stand for, every job once and none for nothing."""
    choices = dict(columns.choices[column] for column in chosen if column in columns.choices)
    picked = tuple(choices[unit] for unit in range(len(choices)))
    due: list[set[int]] = [set() for _ in week.boards]
    for work in _works(week.model, picked):
        due[work.day].update(work.jobs)
    routes: list[list[Stops]] = [[] for _ in week.boards]
    for column in chosen:
        shape = columns.shapes.get(column)
        if shape is not None:
            jobs = [_day(week.model, shape.day).options.all[option].job for option in shape.options]
            stops = [o for o, job in zip(shape.options, jobs, strict=True) if job in due[shape.day]]
            routes[shape.day].append((shape.vehicle_type, stops))
    for board, stops_of_day in zip(week.boards, routes, strict=True):
        if board is not None:
            _take_off_doubles(board, stops_of_day)
    kept = tuple(tuple((t, tuple(stops)) for t, stops in day if stops) for day in routes)
    return Snapshot(picked, kept, 0)


def _take_off_doubles(board: Board, routes: list[Stops]) -> None:
    """Leave a job that several routes hold to the one that saves least without it."""
    job_of = [option.job for option in board.day.options.all]
    times = Counter(job_of[option] for _, stops in routes for option in stops)
    for job in (job for job, count in times.items() if count > 1):
        holding = [(t, stops) for t, stops in routes if any(job_of[option] == job for option in stops)]
        holding.sort(key=lambda route: _saving(board, route, job))
        for _, stops in holding[1:]:
            stops[:] = [option for option in stops if job_of[option] != job]


def _saving(board: Board, route: Stops, job: int) -> int:
    vehicle_type, stops = route
    rest = tuple(option for option in stops if board.day.options.all[option].job != job)
    whole = board.route_cost(vehicle_type, tuple(stops)).cost
    return whole - (board.route_cost(vehicle_type, rest).cost if rest else 0)


def keeps_links(week: Week, found: Snapshot) -> bool:
    """Whether every chosen job is done once, nothing else is, and linked jobs are as they must be."""
    due: list[Counter[int]] = [Counter() for _ in week.boards]
    for work in _works(week.model, found.chosen):
        due[work.day].update(work.jobs)
        if work.bundles and _way_of(week, found.routes[work.day], work) is None:
            return False
    for number, routes in enumerate(found.routes):
        day = week.model.days[number]
        if day is None:
            continue
        jobs = [[day.options.all[option].job for option in options] for _, options in routes]
        if Counter(job for stops in jobs for job in stops) != due[number]:
            return False
    return all(
        _is_together(week.model, found.routes[work.day], work) for work in _works(week.model, found.chosen)
    )


def _is_together(model: Model, routes: Routes, work: DayWork) -> bool:
    """Whether one route holds all jobs of each group that one person must do."""
    all_options = _day(model, work.day).options.all
    jobs = [{all_options[option].job for option in options} for _, options in routes]
    groups = [{work.jobs[position] for position in group} for group in work.together]
    return all(any(group <= held for held in jobs) for group in groups)
