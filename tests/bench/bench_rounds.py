"""Weeks planned against published periodic instances: cost, gap, limits kept, rounds a second.

    python -m tests.bench.bench_rounds --instances FOLDER [--names p01,p05] [--seconds 60] [--seeds 3]
        [--until-reference]

Reads the text format in which J.-F. Cordeau, M. Gendreau and G. Laporte published the instances of
"A tabu search heuristic for periodic and multi-depot vehicle routing problems", Networks 30(2), 1997,
105-119 (and, with windows, those of the Journal of the Operational Research Society 52, 2001, 928-936).
The first number of FOLDER/reference-solutions/NAME.res, where there is one, is the cost to compare
with; with --until-reference a search that has reached it is over, and its seconds say when. Every
plan goes through the independent checker, and costs are recomputed in floating point.
Exit status 1 when a plan breaks a limit or the mean gap is above --max-mean-gap.
"""

import argparse
import math
import os
import platform
import resource
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.rounds.solver.solve import Effort, Progress, plan
from tests.rounds.checker import broken_rules, true_cost

Json = dict[str, Any]

FIELDS_WITHOUT_WINDOWS = 7
"""Of the depot's line; two more are the hours of those instances that have windows."""
NO_LIMIT = 1e5
ROUNDING = 1e-5
"""Published costs have two decimals, the search counts in whole thousandths: a share of the cost."""


@dataclass(frozen=True)
class Outcome:
    """One run."""

    name: str
    seed: int
    reference: float | None
    cost: float
    broken: Sequence[str]
    iterations: int
    seconds: float
    processor_seconds: float
    """Of all processes: far below processes times seconds on a busy machine."""

    @property
    def gap(self) -> float | None:
        """Above the reference, [%]."""
        return None if self.reference is None else 100 * (self.cost / self.reference - 1)

    def line(self) -> str:
        """One line of the table."""
        reference = "-" if self.reference is None else f"{self.reference:.2f}"
        gap = "-" if self.gap is None else f"{self.gap:z.2f}"
        feasible = "no: " + self.broken[0] if self.broken else "yes"
        rate = self.iterations / self.seconds
        numbers = f"{self.cost:.2f} | {gap} | {feasible} | {rate:.0f}"
        times = f"{self.seconds:.1f} | {self.processor_seconds:.0f}"
        return f"| {self.name} | {self.seed} | {reference} | {numbers} | {times} |"


def read_instance(path: Path) -> Json:
    """A request from an instance file.

    Its lines: type m n t; D Q for each day; i x y service load f a combinations… [e l] for each customer.
    """
    lines = [line.split() for line in path.read_text().splitlines() if line.strip()]
    _, vans, _, days = (int(number) for number in lines[0][:4])
    limits = [(float(line[0]), float(line[1])) for line in lines[1 : days + 1]]
    depot, *customers = [[float(number) for number in line] for line in lines[days + 1 :]]
    has_windows = len(depot) > FIELDS_WITHOUT_WINDOWS
    horizon = depot[-1] if has_windows else NO_LIMIT
    capacity = limits[0][1] or None
    kept = [row for row in customers if not _is_filler(row, depot, capacity)]
    return {
        "days": days,
        "travel": {"metric": "euclidean"},
        "locations": [{"id": "depot", "x": depot[1], "y": depot[2]}]
        + [{"id": _name(row), "x": row[1], "y": row[2]} for row in kept],
        "technicians": [_van(f"t{number}", capacity, limits, horizon) for number in range(vans)],
        "visits": [_visit(row, days, windows=has_windows) for row in kept],
        "prices": {"distance": 1},
    }


def _is_filler(row: list[float], depot: list[float], capacity: float | None) -> bool:
    """A customer at the depot whose load fills a van; published solutions leave it out."""
    return row[1:3] == depot[1:3] and row[4] == capacity


def _name(row: list[float]) -> str:
    return f"c{int(row[0])}"


def _van(name: str, capacity: float | None, limits: list[tuple[float, float]], horizon: float) -> Json:
    shifts = [
        {"day": day, "from": 0, "to": horizon, "max_duration": longest or None}
        for day, (longest, _) in enumerate(limits)
    ]
    return {"id": name, "start": "depot", "end": "depot", "capacity": capacity, "shifts": shifts}


def _visit(row: list[float], days: int, *, windows: bool) -> Json:
    combinations = [int(code) for code in row[7 : 7 + int(row[6])]]
    visit: Json = {
        "id": _name(row),
        "location": _name(row),
        "service": row[3],
        "load": row[4],
        "day_choices": [
            [day for day in range(days) if code >> (days - 1 - day) & 1]  # the first bit is the first day
            for code in combinations
        ],
    }
    if windows:
        visit["windows"] = [{"day": None, "from": row[-2], "to": row[-1]}]
    return visit


def reference_cost(folder: Path, name: str) -> float | None:
    """The published cost, if the folder has it."""
    path = folder / "reference-solutions" / f"{name}.res"
    return float(path.read_text().split()[0]) if path.exists() else None


def run(folder: Path, name: str, effort: Effort, *, until_reference: bool = False) -> Outcome:
    """Plan one instance; ``until_reference`` ends the search when nothing is left out and no more paid."""
    request = read_instance(folder / name)
    reference = reference_cost(folder, name)
    enough = reference * (1 + ROUNDING) if until_reference and reference else -math.inf
    last: list[Progress] = []

    def is_enough() -> bool:
        return bool(last) and last[-1].unserved == 0 and last[-1].cost <= enough

    worked = _processor_seconds()
    response = plan(request, effort, on_progress=last.append, is_cancelled=is_enough)
    broken = broken_rules(request, response)
    if response["unserved"]:
        broken.append(f"{len(response['unserved'])} visits not served")
    return Outcome(
        name=name,
        seed=effort.seed,
        reference=reference,
        cost=true_cost(request, response),
        broken=broken,
        iterations=last[-1].iterations if last else 0,
        seconds=response["seconds"],
        processor_seconds=_processor_seconds() - worked,
    )


def _processor_seconds() -> float:
    """Used so far by this process and by those that have ended below it."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(usage.ru_utime + usage.ru_stime for usage in used)


def _outcomes(options: argparse.Namespace) -> Iterator[Outcome]:
    folder = Path(options.instances)
    names = (
        options.names.split(",") if options.names else sorted(p.name for p in folder.iterdir() if p.is_file())
    )
    for name in names:
        for seed in range(1, options.seeds + 1):
            effort = Effort(seconds=options.seconds, seed=seed, processes=options.processes)
            yield run(folder, name, effort, until_reference=options.until_reference)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table; returns the exit status."""
    options = _parser().parse_args(arguments)
    machine = f"{_processor()}, {os.cpu_count()} cores, load before {os.getloadavg()[0]:.1f}"
    print(f"{options.seconds:g} s, {options.processes} processes, {machine}\n")
    print("| instance | seed | reference | cost | gap % | limits kept | rounds/s | seconds | CPU s |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    gaps, broken = [], 0
    for outcome in _outcomes(options):
        print(outcome.line(), flush=True)
        broken += bool(outcome.broken)
        gaps += [] if outcome.gap is None else [outcome.gap]
    mean = sum(gaps) / len(gaps) if gaps else 0.0
    if gaps:
        without_gains = sum(max(0.0, gap) for gap in gaps) / len(gaps)
        print(
            f"\nmean gap {mean:.2f} % ({without_gains:.2f} % if a gain counts as 0), "
            f"worst {max(gaps):.2f} %; {broken} plans break a limit"
        )
    return 1 if broken or mean > options.max_mean_gap else 0


def _processor() -> str:
    """The name the system has for it."""
    told = Path("/proc/cpuinfo")
    lines = told.read_text().splitlines() if told.exists() else []
    names = (line.split(":")[1].strip() for line in lines if line.startswith("model name"))
    return next(names, platform.machine())


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--instances", required=True, help="folder of instances, one file each")
    parser.add_argument("--names", help="comma-separated; default all files of the folder")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--until-reference", action="store_true", help="end a search that has reached it")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--max-mean-gap", type=float, default=0.5, help="per cent")
    return parser


if __name__ == "__main__":
    sys.exit(main())
