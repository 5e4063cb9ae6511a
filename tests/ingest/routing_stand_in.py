"""A routing service for tests: it listens on this machine alone and answers both table forms."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

Spot = tuple[float, float]
"""Longitude and latitude."""

Rule = Callable[[Spot, Spot], tuple[float, float] | None]
"""Seconds and metres from one spot to another, None for no way."""


class StandIn:
    """What the service does: ``drive`` gives a drive; it refuses spots in ``off`` and big asks."""

    def __init__(self, drive: Rule) -> None:
        self.drive = drive
        self.off: set[Spot] = set()
        self.most_pairs = 10_000
        self.statuses: list[int] = []
        self.body: bytes | None = None
        self.asked: list[tuple[int, int]] = []
        self.address = ""

    def answer(self, form: str, rows: list[Spot], columns: list[Spot]) -> tuple[int, object]:
        self.asked.append((len(rows), len(columns)))
        if self.statuses:
            return self.statuses.pop(0), {}
        if len(rows) * len(columns) > self.most_pairs:
            return 400, {"code": "TooBig", "error_code": 150, "message": "too much at once"}
        if self.off.intersection(rows + columns):
            return 400, {"code": "NoSegment", "error_code": 171, "message": "no road near"}
        cells = [[self.drive(a, b) for b in columns] for a in rows]
        if form == "table":
            return 200, {
                "code": "Ok",
                "durations": [[cell and cell[0] for cell in row] for row in cells],
                "distances": [[cell and cell[1] for cell in row] for row in cells],
                "sources": [{"location": spot, "distance": 1500.0} for spot in rows],
            }
        return 200, {
            "units": "kilometers",
            "sources_to_targets": [
                [{"time": cell and cell[0], "distance": cell and cell[1] / 1000.0} for cell in row]
                for row in cells
            ],
        }


@contextmanager
def listening(stand_in: StandIn) -> Iterator[StandIn]:
    """Let the service listen on a free port of this machine."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            spots = [
                tuple(float(value) for value in pair.split(","))
                for pair in parts.path.rsplit("/", 1)[1].split(";")
            ]
            query = parse_qs(parts.query)
            rows, columns = (
                [spots[int(index)] for index in query[name][0].split(";")]
                for name in ("sources", "destinations")
            )
            self.send(*stand_in.answer("table", rows, columns))

        def do_POST(self) -> None:
            asked = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            rows, columns = (
                [(spot["lon"], spot["lat"]) for spot in asked[name]]
                for name in ("sources", "targets")
            )
            self.send(*stand_in.answer("pairs", rows, columns))

        def send(self, status: int, answer: object) -> None:
            body = json.dumps(answer).encode() if stand_in.body is None else stand_in.body
            self.send_response(status)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            return

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    stand_in.address = f"http://127.0.0.1:{server.server_port}"
    try:
        yield stand_in
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
