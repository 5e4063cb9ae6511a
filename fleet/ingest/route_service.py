"""Ask a routing service that the user runs for all drives, block by block."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from http.client import HTTPException
from urllib.error import HTTPError, URLError
from urllib.parse import urlsplit
from urllib.request import OpenerDirector, ProxyHandler, Request, build_opener

import numpy as np

from fleet.domain.plan import Place
from fleet.errors import FleetError
from fleet.ingest.route_answer import (
    MOST_PLACES,
    TOO_BIG,
    Answer,
    AnswerError,
    read_answer,
    refusal,
    service_form,
    table_request,
)

TIMEOUT_S = 30.0
TRIES = 3
PAUSE_S = 1.0
"""Before the second try; doubled before each further one."""

MOST_BYTES = 64 << 20
"""An answer of 100 x 100 drives has about 0.2 MB."""

THIS_MACHINE = frozenset({"localhost", "127.0.0.1", "::1"})

AGAIN = frozenset({429, 500, 502, 503, 504})
"""HTTP status codes after which the same question may be answered later (RFC 9110, RFC 6585)."""


class _RefusedError(Exception):
    """The service does not answer this question; ``code`` says why."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(f"{code} {message}".strip())
        self.code = code


@dataclass(frozen=True, slots=True)
class RouteService:
    """A routing service; ``pause`` waits between tries."""

    address: str
    timeout_s: float = TIMEOUT_S
    pause: Callable[[float], None] = field(default=time.sleep)

    @property
    def name(self) -> str:
        """Give the address without user, password and query, fit to be printed."""
        parts = urlsplit(self.address)
        port = f":{parts.port}" if parts.port else ""
        return f"{parts.scheme}://{parts.hostname or ''}{port}{parts.path}"

    def drives(self, places: Sequence[Place]) -> Answer:
        """Ask for the drives between all places.

        Parameters
        ----------
        places : sequence of Place
            Positions in degrees.

        Returns
        -------
        Answer
            Of shape (n, n). A place that the service cannot tie to a road has NaN in its row
            and column; it does not spoil the others.

        Raises
        ------
        FleetError
            The service is not reached after three tries, refuses every place, or answers in
            another form; the message says what to do.
        """
        block = MOST_PLACES[service_form(self.address) or ""]
        while True:
            try:
                return self._all(places, block)
            except _RefusedError as refused:
                if refused.code not in TOO_BIG or block < 2:
                    raise FleetError(
                        f"The routing service {self.name} refuses the question: {refused}. "
                        "Look at its log, or choose another --travel."
                    ) from refused
                block = block // 2

    def _all(self, places: Sequence[Place], block: int) -> Answer:
        size = len(places)
        whole = Answer(*(np.full(shape, np.nan) for shape in ((size, size), (size, size), size)))
        bad: set[int] = set()
        for rows in _blocks(size, block):
            for columns in _blocks(size, block):
                self._fill(whole, places, bad, (rows, columns))
        return whole

    def _fill(
        self,
        whole: Answer,
        places: Sequence[Place],
        bad: set[int],
        block: tuple[Sequence[int], Sequence[int]],
    ) -> None:
        rows, columns = ([index for index in side if index not in bad] for side in block)
        if not rows or not columns:
            return
        try:
            answer = self._ask([places[i] for i in rows], [places[i] for i in columns])
        except _RefusedError as refused:
            if refused.code in TOO_BIG:
                raise
            found = self._bad_places(places, sorted({*rows, *columns} - bad))
            if not found or len(bad | set(found)) == len(places):
                raise
            bad.update(found)
            self._fill(whole, places, bad, block)
            return
        whole.minutes[np.ix_(rows, columns)] = answer.minutes
        whole.km[np.ix_(rows, columns)] = answer.km
        whole.off_km[rows] = answer.off_km

    def _bad_places(self, places: Sequence[Place], group: Sequence[int]) -> list[int]:
        """Find the places of a group for which no question is answered, by halving."""
        try:
            self._ask([places[group[0]]], [places[index] for index in group])
        except _RefusedError:
            if len(group) == 1:
                return [*group]
            middle = len(group) // 2
            halves = (group[:middle], group[middle:])
            return [index for half in halves for index in self._bad_places(places, half)]
        return []

    def _ask(self, rows: Sequence[Place], columns: Sequence[Place]) -> Answer:
        body = self._body(table_request(self.address, rows, columns))
        try:
            return read_answer(self.address, body, (len(rows), len(columns)))
        except AnswerError as error:
            raise FleetError(
                f"The routing service {self.name} answers in another form: {error}. "
                "Look whether the address is the one of its table service."
            ) from error

    def _body(self, request: Request) -> bytes:
        trouble = ""
        for attempt in range(TRIES):
            if attempt:
                self.pause(PAUSE_S * 2 ** (attempt - 1))
            try:
                with self._opener().open(request, timeout=self.timeout_s) as answer:
                    body: bytes = answer.read(MOST_BYTES + 1)
                return self._whole(body)
            except HTTPError as error:
                with error:
                    said = error.read(MOST_BYTES)
                if error.code not in AGAIN:
                    raise _RefusedError(*refusal(said)) from error
                trouble = f"status {error.code}"
            except (URLError, HTTPException, OSError) as error:
                trouble = str(getattr(error, "reason", error)) or type(error).__name__
        raise FleetError(
            f"The routing service {self.name} does not answer after {TRIES} tries: {trouble}. "
            "Start it, or choose another --travel."
        )

    def _opener(self) -> OpenerDirector:
        """Give what opens connections; to this very machine never by a proxy."""
        own = urlsplit(self.address).hostname in THIS_MACHINE
        return build_opener(ProxyHandler({})) if own else build_opener()

    def _whole(self, body: bytes) -> bytes:
        if len(body) > MOST_BYTES:
            raise FleetError(
                f"The routing service {self.name} answers with more than {MOST_BYTES >> 20} MB."
            )
        return body


def _blocks(size: int, block: int) -> list[Sequence[int]]:
    return [range(first, min(first + block, size)) for first in range(0, size, block)]
