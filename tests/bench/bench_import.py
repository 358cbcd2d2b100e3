"""How long bringing lists in takes, and whether its memory grows with the rows.

    python -m tests.bench.bench_import [--rows 2000 10000 20000] [--kinds client spa agreement reading]
        [--database-url postgres://…]

Each list goes in through the use cases, as text (CSV) and as workbook (XLSX), in a process and a database of
its own: until the preview stands, until it is written, until it is exported again. Of each: seconds by the
clock, seconds of the process, and the most memory that it held above what the process held before [MB].
``--database-url`` must name an empty database; one kind, size and form are then asked for, as it is not
made anew. Exit status 1 when the most rows hold more than 60 MB above what the fewest hold.
"""

import argparse
import io
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

GROWN_MOST_MB = 60
PHASES = ("preview", "write", "export")


def main() -> int:
    asked = arguments()
    if asked.one:
        kind, form, rows = asked.one
        print(json.dumps(measured(kind, form, int(rows))))
        return 0
    print("kind       form    rows  file MB " + " ".join(f"{name:>9} s  cpu s    MB" for name in PHASES))
    with tempfile.TemporaryDirectory(prefix="runnel-bench-") as folder:
        empty = _migrated(Path(folder), asked.database_url)
        grown = [_told(kind, form, asked, empty) for kind in asked.kinds for form in ("csv", "xlsx")]
    return 1 if max(grown) > GROWN_MOST_MB else 0


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, nargs="+", default=[2000, 10_000, 20_000])
    parser.add_argument("--kinds", nargs="+", default=["client", "spa", "agreement", "reading"])
    parser.add_argument("--database-url", default="")
    parser.add_argument("--one", nargs=3, help="kind, form and rows: measured in this process")
    return parser.parse_args()


def _environment(folder: str | Path, database_url: str) -> dict[str, str]:
    named = {"DATABASE_URL": database_url} if database_url else {}
    settings = {"DJANGO_SETTINGS_MODULE": "service.settings", "RUNNEL_DATA_DIR": str(folder)}
    return os.environ | settings | {"LOG_LEVEL": "ERROR"} | named


def _migrated(folder: Path, database_url: str) -> Path:
    """A database file on which every migration has run, to be copied."""
    command = [sys.executable, "manage.py", "migrate", "-v", "0"]
    subprocess.run(command, env=_environment(folder, database_url), check=True)
    return folder / "runnel.sqlite3"


def _told(kind: str, form: str, asked: argparse.Namespace, empty: Path) -> float:
    """Print a line for each number of rows; by how much [MB] the last phase grew most."""
    held = []
    for rows in asked.rows:
        taken = _in_a_process(kind, form, rows, asked.database_url, empty)
        figures = " ".join("{:11.1f} {:6.1f} {:5.0f}".format(*taken[name]) for name in PHASES)
        print(f"{kind:10} {form:5} {rows:6} {taken['file_mb']:8.1f} {figures}", flush=True)
        held.append(max(taken[name][2] for name in PHASES))
    return held[-1] - held[0]


def _in_a_process(kind: str, form: str, rows: int, database_url: str, empty: Path) -> dict[str, Any]:
    with tempfile.TemporaryDirectory(prefix="runnel-bench-") as folder:
        if empty.exists():
            shutil.copy(empty, folder)
        environment = _environment(folder, database_url)
        command = [sys.executable, "-m", "tests.bench.bench_import", "--one", kind, form, str(rows)]
        done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(done.stderr)
    taken: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return taken


def measured(kind: str, form: str, rows: int) -> dict[str, Any]:
    """Seconds and megabytes of each phase, in this process."""
    import django

    django.setup()
    from django_scopes import scope

    from tests.personas import make_firm

    firm = make_firm("Alderbrook Spa Care")
    with scope(organisation=firm.organisation):
        named = _place(firm)
        content = _file(kind, form, lines(kind, rows, named))
        taken = _phases(firm, kind, form, content)
    return {"file_mb": len(content) / 1e6, **taken}


def _phases(firm: Any, kind: str, form: str, content: bytes) -> dict[str, Any]:
    from service.importing.export import list_file
    from service.importing.models import ListImport
    from service.importing.upload import read_now, upload_list
    from service.importing.write import confirm_list, write_list
    from service.runs.models import Run
    from service.runs.work import do_run

    listing: Any = None

    def preview() -> None:
        nonlocal listing
        listing = upload_list(kind=kind, file_name=f"list.{form}", data=content, by=firm.office)
        if listing.run_id:
            do_run(listing.run_id, lambda run: read_now(listing, firm.office, run))
        listing = ListImport.objects.get(pk=listing.pk)
        assert listing.state == "ready", listing.problem
        assert not listing.count("wrong"), listing.rows.filter(effect="wrong")[:3].values("problems")

    def write() -> None:
        run = confirm_list(listing=listing, only_good=False, by=firm.office)
        do_run(run.pk, write_list)
        assert Run.objects.get(pk=run.pk).state == "done"

    def export() -> None:
        with list_file(kind, form, firm.office) as file:
            while file.read(64 * 1024):
                pass

    return {name: timed(work) for name, work in zip(PHASES, (preview, write, export), strict=True)}


def timed(work: Callable[[], None]) -> tuple[float, float, float]:
    """Seconds by the clock, seconds of this process, and the most memory above what was held before [MB]."""
    Path("/proc/self/clear_refs").write_text("5")
    before, began, worked = _memory_kb("VmRSS"), time.perf_counter(), time.process_time()
    work()
    held = (_memory_kb("VmHWM") - before) / 1024
    return time.perf_counter() - began, time.process_time() - worked, held


def _memory_kb(what: str) -> int:
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(f"{what}:"))


def _place(firm: Any) -> dict[str, Any]:
    """Sites and spas that the rows name."""
    from service.sites.models import Site, Spa

    owned = {"organisation": firm.organisation}
    sites = [Site(**owned, client=firm.client, name=f"Cabin {n}", reference=f"S{n}") for n in range(400)]
    Site.objects.bulk_create(sites)
    Spa.objects.bulk_create(
        Spa(**owned, site=sites[n % 400], name=f"Tub {n}", reference=f"T{n}", volume_l=1250)
        for n in range(2000)
    )
    return {"sites": 400, "spas": 2000}


def lines(kind: str, rows: int, named: dict[str, Any]) -> Iterator[list[Any]]:
    """The first line and then the rows of a list, new ones all."""
    yield HEADS[kind]
    for n in range(rows):
        yield ROWS[kind](n, named)


HEADS = {
    "client": ["reference", "name", "kind", "email", "phone", "notes"],
    "spa": [
        "site_reference",
        "reference",
        "name",
        "volume_l",
        "shell",
        "set_temperature_c",
        "commissioned_on",
        "notes",
    ],
    "agreement": [
        "spa_reference",
        "frequency",
        "times_a_week",
        "weekdays",
        "window_from",
        "window_to",
        "starts_on",
    ],
    "reading": ["spa_reference", "taken_at", "method", "ph", "free_chlorine_mg_l", "temperature_c"],
}
_NOTES = "Key safe at the gate; the dog is friendly"
_FIRST = date(2025, 1, 6)
ROWS: dict[str, Callable[[int, dict[str, Any]], list[Any]]] = {
    "client": lambda n, _: [
        f"N{n}",
        f"Lets of {n}",
        "let",
        f"office@lets{n}.example",
        f"01632 96{n:05}",
        _NOTES,
    ],
    "spa": lambda n, at: [
        f"S{n % at['sites']}",
        f"N{n}",
        f"New tub {n}",
        900 + n % 1000,
        "acrylic",
        38.5,
        "2023-04-18",
        _NOTES,
    ],
    "agreement": lambda n, at: [
        f"T{n % at['spas']}",
        "times_a_week",
        2,
        "Monday; Thursday; Friday",
        "08:00",
        "12:30",
        (_FIRST + timedelta(days=n // at["spas"])).isoformat(),
    ],
    "reading": lambda n, at: [
        f"T{n % at['spas']}",
        f"{_FIRST + timedelta(days=n // at['spas'])} 10:30",
        "photometer",
        7.4,
        3.5,
        38,
    ],
}


def _file(kind: str, form: str, rows: Iterator[list[Any]]) -> bytes:
    if form == "csv":
        import csv

        text = io.StringIO(newline="")
        csv.writer(text).writerows(rows)
        return text.getvalue().encode()
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet("List")
    for row in rows:
        sheet.append(row)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


if __name__ == "__main__":
    sys.exit(main())
