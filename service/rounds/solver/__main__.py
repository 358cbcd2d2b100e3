"""Command line: JSON on standard input, JSON on standard output, progress on standard error.

    python -m service.rounds.solver plan [--seconds 30] [--seed 1] [--processes 2] [--iterations N]
        [--parent PID]
    python -m service.rounds.solver without (the same)
    python -m service.rounds.solver insert [--slots 3]

Exit status 0 with a plan, complete or not; 2 with {"errors": [{"field", "message"}]} for a request
that cannot be read. SIGTERM or SIGINT ends the search; the best plan so far is printed.
"""

import argparse
import json
import os
import signal
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, TextIO

from .fields import BadRequestError
from .insert import MOST_SLOTS, insert
from .replan import without
from .solve import Effort, Progress, plan

BAD_REQUEST = 2


class _Cancel:
    """Remembers that the search was asked to end, or that nobody waits for the plan any more."""

    def __init__(self, parent: int | None) -> None:
        self.asked = False
        self.parent = parent
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._ask)

    def _ask(self, *_: object) -> None:
        self.asked = True

    def __call__(self) -> bool:
        return self.asked or self.parent not in (None, os.getppid())


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    options = _parser().parse_args(arguments)
    with _only_answers() as output:
        try:
            request = json.load(sys.stdin)
        except ValueError as error:
            errors = [{"field": "", "message": f"the request is not JSON: {error}"}]
            return _print(output, {"errors": errors}, BAD_REQUEST)
        try:
            return _print(output, _answer(options, request), 0)
        except BadRequestError as error:
            return _print(output, {"errors": error.errors}, BAD_REQUEST)


def _only_answers() -> TextIO:
    """Standard output for the answer alone: HiGHS greets there, whatever it is told."""
    output = os.fdopen(os.dup(sys.stdout.fileno()), "w")
    with Path(os.devnull).open("w") as nowhere:
        os.dup2(nowhere.fileno(), sys.stdout.fileno())
    return output


def _answer(options: argparse.Namespace, request: Any) -> dict[str, Any]:
    if options.command == "insert":
        return insert(request, most=options.slots)
    effort = Effort(options.seconds, options.iterations, options.seed, options.processes)
    run = plan if options.command == "plan" else without
    return run(request, effort, on_progress=_show, is_cancelled=_Cancel(options.parent))


def _show(progress: Progress) -> None:
    print(json.dumps(asdict(progress)), file=sys.stderr, flush=True)


def _print(output: TextIO, answer: dict[str, Any], status: int) -> int:
    json.dump(answer, output)
    print(file=output, flush=True)
    return status


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m service.rounds.solver", description="Plan rounds.")
    commands = parser.add_subparsers(dest="command", required=True)
    for name, text in (("plan", "plan the week"), ("without", "plan again without some technicians")):
        command = commands.add_parser(name, help=text)
        command.add_argument("--seconds", type=_positive, default=30.0, help="time to search")
        command.add_argument("--iterations", type=_count, help="search so many rounds, not seconds")
        command.add_argument("--seed", type=int, default=1)
        command.add_argument("--processes", type=_count, default=2)
        command.add_argument("--parent", type=int, help="end as soon as this process is gone")
    urgent = commands.add_parser("insert", help="find places for an urgent visit")
    urgent.add_argument("--slots", type=_count, default=MOST_SLOTS)
    return parser


def _positive(text: str) -> float:
    value = float(text)
    if not 0 < value <= 86_400:
        raise argparse.ArgumentTypeError("must be above 0 and at most 86400 seconds")
    return value


def _count(text: str) -> int:
    value = int(text)
    if value < 1:
        raise argparse.ArgumentTypeError("must be at least 1")
    return value


if __name__ == "__main__":
    sys.exit(main())
