"""A road server on this machine that speaks the open table API, on drives the test decides."""

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

Position = tuple[float, float]
"""Longitude, latitude: the order of the API."""


@dataclass
class RoadServer:
    """What the server answers, and what it was asked.

    drive    (from, to) → (seconds, metres), None for no drive.
    nearest  Metres from a position to its road.
    before   Called with each request's path; may answer (status, body) in place of the server.
    most     Positions one request may name, as servers of this API limit it.
    """

    drive: Callable[[Position, Position], tuple[float, float] | None]
    nearest: Callable[[Position], float] = lambda position: 0.0
    before: Callable[[str], tuple[int, bytes] | None] = lambda path: None
    most: int = 100
    asked: list[str] = field(default_factory=list)
    url: str = ""

    def answer(self, path: str) -> tuple[int, bytes]:
        self.asked.append(path)
        if (instead := self.before(path)) is not None:
            return instead
        parts = urlsplit(path)
        service, _, _, places = parts.path.strip("/").split("/")[-4:]
        positions = [tuple(float(part) for part in place.split(",")) for place in places.split(";")]
        if len(positions) > self.most:
            return 400, json.dumps({"code": "TooBig"}).encode()
        told = self._nearest(positions[0]) if service == "nearest" else self._table(positions, parts.query)
        return 200, json.dumps({"code": "Ok", **told}).encode()

    def _nearest(self, position: Any) -> dict[str, Any]:
        return {"waypoints": [{"distance": self.nearest(position), "location": position}]}

    def _table(self, positions: list[Any], query: str) -> dict[str, Any]:
        chosen = parse_qs(query)
        starts, ends = (
            [positions[int(place)] for place in chosen[name][0].split(";")]
            for name in ("sources", "destinations")
        )
        drives = [[self.drive(start, end) for end in ends] for start in starts]
        return {
            "durations": [[drive and drive[0] for drive in row] for row in drives],
            "distances": [[drive and drive[1] for drive in row] for row in drives],
        }


@contextmanager
def running(server: RoadServer) -> Iterator[RoadServer]:
    """The server answering at ``server.url`` while the test runs."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            status, body = server.answer(self.path)
            self.send_response(status)
            self.send_header("Content-Length", str(len(body)))
            if status == 302:
                self.send_header("Location", "/elsewhere")
            # A client that no longer waits has closed its end.
            with suppress(ConnectionError):
                self.end_headers()
                self.wfile.write(body)

        def log_message(self, *args: Any) -> None:
            pass

    web = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.url = f"http://127.0.0.1:{web.server_address[1]}"
    thread = threading.Thread(target=web.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield server
    finally:
        web.shutdown()
        web.server_close()
        thread.join()
