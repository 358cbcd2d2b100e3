"""An open routing engine on this machine, as an independent reference for drives.

OSRM 26.10.0 (BSD-2-Clause), its programs run directly from the wheel of ``osrm-bindings``: on Python
3.11 the wheel's module cannot be imported, but its programs depend on nothing.

    pip install --no-deps --only-binary=:all: --python-version 3.12 --target FOLDER osrm-bindings==26.10.0

``TEST_OSRM_FOLDER`` names the folder; without it the tests that need the engine are skipped, or fail
where ``RUNNEL_REQUIRE_ALL=1``.
"""

import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


def installed() -> Path:
    """The folder with the engine's programs and profiles."""
    folder = Path(os.environ.get("TEST_OSRM_FOLDER", "/nowhere")) / "osrm"
    if not (folder / "bin" / "osrm-routed").exists():
        words = "no OSRM: install osrm-bindings into a folder and name it in TEST_OSRM_FOLDER"
        if os.environ.get("RUNNEL_REQUIRE_ALL") == "1":
            pytest.fail(words)
        pytest.skip(words)
    return folder


@contextmanager
def running(extract: Path, folder: Path) -> Iterator[str]:
    """The engine's car profile on ``extract``, prepared in ``folder``; the address it answers at."""
    osrm = installed()
    data = folder / "roads.osm.pbf"
    shutil.copy(extract, data)
    for program, *options in (
        ("osrm-extract", "-p", str(osrm / "share" / "profiles" / "car.lua"), str(data)),
        ("osrm-partition", str(folder / "roads.osrm")),
        ("osrm-customize", str(folder / "roads.osrm")),
    ):
        subprocess.run([osrm / "bin" / program, *options], check=True, capture_output=True, timeout=300)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    options = ["-a", "mld", "-i", "127.0.0.1", "-p", str(port), str(folder / "roads.osrm")]
    engine = subprocess.Popen([osrm / "bin" / "osrm-routed", *options], stdout=subprocess.DEVNULL)
    try:
        _wait_for(port)
        yield f"http://127.0.0.1:{port}"
    finally:
        engine.terminate()
        engine.wait(30)


def _wait_for(port: int) -> None:
    for _ in range(300):
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
        except OSError:
            time.sleep(0.1)
        else:
            return
    pytest.fail("the routing engine does not answer")
