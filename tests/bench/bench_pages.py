"""How long every page takes in a firm with many spas and years of visits.

    python -m tests.bench.bench_pages --folder FOLDER [--spas 2000] [--visits 100000] [--times 10]
        [--repeats 12] [--database-url postgres://…] [--only WORDS]

Makes the database in FOLDER (or at the address, which must be an empty database) and keeps it: a second
call measures only. Each page is asked for in this process, through every middleware and the templates,
once to warm up and then ``--repeats`` times: p50 and p95 in milliseconds, the least time of this process
alone (on a machine that others use, the only one of the three to go by; PostgreSQL's own is not in it),
database statements, bytes of the page, bytes as sent. ``--times 10`` makes ten times the visits at the
same spas: a page that takes longer then is one that grows. Exit status 1 when a page is above 300 ms
(p95), 12 statements or 150 kB as sent.
"""

import argparse
import gzip
import json
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

MOST_MS, MOST_STATEMENTS, MOST_BYTES = 300, 12, 150_000
FIRM = "Alderbrook Spa Care"
# Lists that are asked for by words and filters as well: common words, rare ones, none that fit.
ASKED = {
    "visits:records": ("q=tub", "q=lets+0123", "state=unsigned", "verdict=closed_until_retest"),
    "sites:search": ("q=tub", "q=lets+0123", "q=nothing+fits"),
    "sites:spas": ("q=lets+0123&sort=client",),
}


@dataclass(frozen=True)
class Taken:
    """What one page took. p50, p95, own (the least of this process alone): [ms]."""

    name: str
    p50: float
    p95: float
    own: float
    statements: int
    size: int
    gzipped: int

    @property
    def is_within(self) -> bool:
        return self.p95 <= MOST_MS and self.statements <= MOST_STATEMENTS and self.gzipped <= MOST_BYTES

    def line(self) -> str:
        mark = "" if self.is_within else " above"
        sizes = f"{self.size / 1000:7.1f} {self.gzipped / 1000:7.1f}"
        return (
            f"{self.p50:8.0f} {self.p95:8.0f} {self.own:8.0f} {self.statements:5} {sizes}  {self.name}{mark}"
        )


def main() -> int:
    asked = arguments()
    set_up(asked)
    world = made(asked)
    taken = sorted(measured(world, asked), key=lambda page: -page.p95)
    print("  p50 ms   p95 ms   own ms  stat.      kB kB sent  page")
    for page in taken:
        print(page.line())
    above = [page for page in taken if not page.is_within]
    print(f"{len(taken)} pages, {len(above)} above {MOST_MS} ms, {MOST_STATEMENTS} statements or 150 kB.")
    return 1 if above else 0


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--spas", type=int, default=2000)
    parser.add_argument("--visits", type=int, default=100_000)
    parser.add_argument("--times", type=int, default=1, help="times the visits, at the same spas")
    parser.add_argument("--repeats", type=int, default=12)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--database-url", default="")
    parser.add_argument("--only", default="", help="pages whose name holds these words")
    return parser.parse_args()


def set_up(asked: argparse.Namespace) -> None:
    asked.folder.mkdir(parents=True, exist_ok=True)
    os.environ["RUNNEL_DATA_DIR"] = str(asked.folder)
    os.environ["DJANGO_SETTINGS_MODULE"] = "service.settings"
    os.environ["LOG_LEVEL"] = "ERROR"
    if asked.database_url:
        os.environ["DATABASE_URL"] = asked.database_url
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0, interactive=False)


def made(asked: argparse.Namespace) -> Any:
    """The firm, made on the first call and found again on later ones."""
    from tests.bench.many_rows import fill, find_world

    kept = asked.folder / "made.json"
    if not kept.exists():
        began = time.monotonic()
        keys = fill(FIRM, spas=asked.spas, visits=asked.visits, times=asked.times, seed=asked.seed)
        kept.write_text(json.dumps(keys))
        print(f"Made in {time.monotonic() - began:.0f} s.", flush=True)
    return find_world(json.loads(kept.read_text()))


def measured(world: Any, asked: argparse.Namespace) -> Iterator[Taken]:
    from django.urls import reverse

    from accounts.roles import Role
    from tests.budgets.counting import in_use
    from tests.isolation.addresses import ADDRESSES

    # Loads the pages' code and sets it aside from collections, as the web server does.
    import_module("service.wsgi")
    for role in Role:
        browser = in_use(world, role, SERVER_NAME="localhost")
        for name, address in ADDRESSES.items():
            if address.public or role not in address.roles or name.startswith("api:"):
                continue
            if asked.only in f"{role.value} {name}":
                url = reverse(name, kwargs=address.arguments(world.seen))
                yield from measure(browser, f"{role.value} {name}", url, asked.repeats)
                for words in ASKED.get(name, ()):
                    titled = f"{role.value} {name}?{words}"
                    yield from measure(browser, titled, f"{url}?{words}", asked.repeats)


def measure(browser: Any, name: str, url: str, repeats: int) -> Iterator[Taken]:
    """The page's numbers; nothing for an address that cannot be read."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as captured:
        answer, body = get(browser, url)
        statements = len(captured)
    if answer.status_code != 200:
        return
    taken = [timed(browser, url) for _ in range(repeats)]
    times = sorted(whole for whole, _ in taken)
    yield Taken(
        name=name,
        p50=times[len(times) // 2],
        p95=times[min(int(len(times) * 0.95), len(times) - 1)],
        own=min(own for _, own in taken),
        statements=statements,
        size=len(body),
        gzipped=len(gzip.compress(body, 6)),
    )


def timed(browser: Any, url: str) -> tuple[float, float]:
    """Time on the clock, and time of this process alone [ms]."""
    began, own = time.perf_counter(), time.process_time()
    get(browser, url)
    return 1000 * (time.perf_counter() - began), 1000 * (time.process_time() - own)


def get(browser: Any, url: str) -> tuple[Any, bytes]:
    answer = browser.get(url)
    return answer, b"".join(answer) if answer.streaming else answer.content


if __name__ == "__main__":
    sys.exit(main())
