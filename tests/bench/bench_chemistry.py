"""The water engine's speed and accuracy, beside PHREEQC on the same cases in the same run.

    python -m tests.bench.bench_chemistry [--cases 500] [--seed 7] [--repeats 5]

PHREEQC is the library inside phreeqpython 1.6.2 with its phreeqc.dat, driven as in
tests/chemistry/phreeqc_reference.py; building its input text is counted, as parsing is on our side.
Each figure is the best of the repeats, to leave out what else the machine was doing; the spread over the
cases is that of the best repeat. Measures one process on one core.
"""

import argparse
import os
import platform
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from random import Random
from time import perf_counter
from typing import Any

from service.chemistry.errors import InputError
from service.chemistry.predict import predict
from service.chemistry.treatment.treat import treat
from tests.chemistry.phreeqc_reference import PhreeqcReference, PhreeqcRefusedError, cases_file
from tests.chemistry.random_waters import random_request
from tests.chemistry.treatment_waters import landing_request

Json = dict[str, Any]

COMPARED = ("ph", "saturation_index", "total_alkalinity_mg_l", "dissolved_inorganic_carbon_mmol_l")


def machine() -> str:
    """Processor, cores, operating system and Python."""
    processor = platform.processor() or platform.machine()
    information = Path("/proc/cpuinfo")
    if information.exists():
        names = [line for line in information.read_text().splitlines() if line.startswith("model name")]
        processor = names[0].partition(":")[2].strip() if names else processor
    return f"{processor}, {os.cpu_count()} cores, {platform.system()}, Python {platform.python_version()}"


def milliseconds(work: Callable[[Json], object], cases: Sequence[Json], repeats: int) -> list[float]:
    """Time of each case in the repeat that was fastest over all cases, [ms], sorted."""
    runs = []
    for _ in range(repeats):
        times = []
        for case in cases:
            start = perf_counter()
            work(case)
            times.append(1000 * (perf_counter() - start))
        runs.append(times)
    return sorted(min(runs, key=sum))


def quantile(values: Sequence[float], share: float) -> float:
    """The value below which a share of the sorted values lies."""
    return values[min(int(share * len(values)), len(values) - 1)]


def row(name: str, times: Sequence[float]) -> str:
    """Mean, median, 95 % and slowest, [ms]."""
    figures = (sum(times) / len(times), quantile(times, 0.5), quantile(times, 0.95), times[-1])
    return f"| {name} | " + " | ".join(f"{figure:.2f}" for figure in figures) + " |"


def solvable(cases: Sequence[Json], reference: PhreeqcReference) -> list[Json]:
    """The cases both programs answer."""
    kept = []
    for case in cases:
        try:
            reference.predict(case)
            predict(case)
        except (PhreeqcRefusedError, InputError):
            continue
        kept.append(case)
    return kept


def report_predict(cases: Sequence[Json], reference: PhreeqcReference, repeats: int) -> None:
    """Time a call of predict beside PHREEQC, then how far the answers differ."""
    ours = milliseconds(predict, cases, repeats)
    theirs = milliseconds(reference.predict, cases, repeats)
    steps = sum(len(case["steps"]) for case in cases)
    print("| per call, ms | mean | median | 95 % | slowest |\n|---|---|---|---|---|")
    print(row("predict", ours))
    print(row("PHREEQC", theirs))
    print(
        f"predict takes {sum(ours) / sum(theirs):.2f} of PHREEQC's time; {sum(ours) / steps:.2f} ms a step\n"
    )
    print("| difference after | 95 % | largest |\n|---|---|---|")
    pairs = [(predict(case)["after"], reference.predict(case)["after"]) for case in cases]
    for name in COMPARED:
        gaps = sorted(abs(one[name] - other[name]) for one, other in pairs)
        print(f"| {name} | {quantile(gaps, 0.95):.6f} | {gaps[-1]:.6f} |")
    print()


def answered(request: Json) -> bool:
    """Whether the request makes a water that can be worked with."""
    try:
        treat(request)
    except InputError:
        return False
    return True


def report_treat(
    requests: Sequence[Json], cases: Sequence[Json], reference: PhreeqcReference, repeats: int
) -> None:
    """Time a whole treatment plan, beside one call of PHREEQC on the random cases of the same run."""
    ours = milliseconds(treat, requests, repeats)
    theirs = milliseconds(reference.predict, cases, 1)
    print("| per call, ms | mean | median | 95 % | slowest |\n|---|---|---|---|---|")
    print(row("treat", ours))
    ratio = (sum(ours) / len(ours)) / (sum(theirs) / len(theirs))
    print(f"a treatment plan takes as long as {ratio:.1f} calls of PHREEQC\n")


def report_import() -> None:
    """Time to import the package's entry points in a fresh process, above an empty one, [ms]."""

    def start(code: str) -> float:
        begun = perf_counter()
        subprocess.run([sys.executable, "-c", code], check=True)
        return 1000 * (perf_counter() - begun)

    empty = min(start("pass") for _ in range(9))
    for module in ("predict", "treatment.treat"):
        loaded = min(start(f"import service.chemistry.{module}") for _ in range(9))
        print(f"import of {module}: {loaded - empty:.0f} ms")


def main(arguments: Sequence[str] | None = None) -> int:
    """Print every table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--cases", type=int, default=500)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--repeats", type=int, default=5)
    asked = parser.parse_args(arguments)
    reference = PhreeqcReference()
    random = Random(asked.seed)
    print(machine())
    report_import()
    stored = [case["request"] for case in cases_file()["cases"]]
    print(f"\nStored cases: {len(stored)}")
    report_predict(stored, reference, asked.repeats)
    drawn = solvable([random_request(random) for _ in range(asked.cases)], reference)
    print(f"Random cases: {len(drawn)} of {asked.cases} that both answer")
    report_predict(drawn, reference, asked.repeats)
    asks = [landing_request(random) for _ in range(asked.cases)]
    report_treat([request for request in asks if answered(request)], drawn, reference, asked.repeats)
    return 0


if __name__ == "__main__":
    sys.exit(main())
