"""What a routing service is asked and answers: the two table forms in common use.

The form is known by the service's address: ``.../table/v1/PROFILE`` answers durations in s and
distances in m (read: that service's public documentation of its HTTP interface, version 1), and
``.../sources_to_targets`` answers times in s and distances in km (read: its public documentation
of the matrix service; the codes of its refusals are from memory).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit
from urllib.request import Request

import numpy as np
from numpy.typing import NDArray

from fleet.domain.plan import Place

TABLE = "/table/v1/"
PAIRS = "/sources_to_targets"
MOST_PLACES = {TABLE: 100, PAIRS: 50}
"""Rows and columns of one question: what the services answer unless they are set otherwise."""

TOO_BIG = frozenset({"TooBig", "150"})
"""Codes of a refusal because too much was asked at once."""

DECIMALS = 6
"""Of a degree: about 0.1 m."""


class AnswerError(ValueError):
    """An answer that is not of the form expected."""


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """One block of drives, NaN where the service knows no way.

    ``off_km`` is how far the places of the rows lie off the road, NaN where it does not say.
    """

    minutes: NDArray[np.float64]
    km: NDArray[np.float64]
    off_km: NDArray[np.float64]


def service_form(address: str) -> str | None:
    """Tell the form of a service by its address; None for an address of neither."""
    path = urlsplit(address).path.rstrip("/")
    if path.endswith(PAIRS):
        return PAIRS
    return TABLE if TABLE in path else None


def table_request(address: str, rows: Sequence[Place], columns: Sequence[Place]) -> Request:
    """Ask for the drives from each row to each column."""
    if service_form(address) == PAIRS:
        question = {"sources": _spots(rows), "targets": _spots(columns), "costing": "auto"}
        head = {"Content-Type": "application/json"}
        return Request(address, data=json.dumps(question).encode(), headers=head, method="POST")
    spots = ";".join(
        f"{place.longitude_deg:.{DECIMALS}f},{place.latitude_deg:.{DECIMALS}f}"
        for place in (*rows, *columns)
    )
    sources = ";".join(str(index) for index in range(len(rows)))
    targets = ";".join(str(index) for index in range(len(rows), len(rows) + len(columns)))
    query = f"annotations=duration,distance&sources={sources}&destinations={targets}"
    return Request(f"{address.rstrip('/')}/{spots}?{query}")


def read_answer(address: str, body: bytes, shape: tuple[int, int]) -> Answer:
    """Read an answer.

    Parameters
    ----------
    address : str
        Of the service; tells the form.
    body : bytes
        JSON text.
    shape : tuple of int
        Rows and columns asked for.

    Raises
    ------
    AnswerError
        Not JSON, not of the form, of another shape, or with values that are no times.
    """
    answer = _object(body)
    if service_form(address) == PAIRS:
        cells = answer.get("sources_to_targets")
        seconds = _table([[_of(cell, "time") for cell in _list(row)] for row in _list(cells)])
        km = _table([[_of(cell, "distance") for cell in _list(row)] for row in _list(cells)])
        off_km = np.full(shape[0], np.nan)
    else:
        seconds = _table(answer.get("durations"))
        km = _table(answer["distances"]) / 1000.0 if "distances" in answer else seconds * np.nan
        off_km = _off_km(answer.get("sources"), shape[0])
    if seconds.shape != shape or km.shape != shape:
        raise AnswerError(f"a table of {shape[0]} x {shape[1]} is expected")
    return Answer(seconds / 60.0, km, off_km)


def refusal(body: bytes) -> tuple[str, str]:
    """Give the code and the message of a refusal, empty where it says none."""
    try:
        said = _object(body)
    except AnswerError:
        return "", body[:200].decode("utf-8", "replace").strip()
    code = said.get("code") if "code" in said else said.get("error_code", "")
    return str(code), str(said.get("message") or said.get("error") or "")


def _spots(places: Sequence[Place]) -> list[dict[str, float]]:
    return [
        {"lat": round(place.latitude_deg, DECIMALS), "lon": round(place.longitude_deg, DECIMALS)}
        for place in places
    ]


def _object(body: bytes) -> Mapping[str, Any]:
    try:
        answer = json.loads(body)
    except (ValueError, RecursionError) as error:
        raise AnswerError("a JSON text is expected") from error
    if not isinstance(answer, dict):
        raise AnswerError("a JSON object is expected")
    return answer


def _list(value: object) -> list[Any]:
    if not isinstance(value, list):
        raise AnswerError("a table of rows is expected")
    return value


def _of(cell: object, name: str) -> object:
    if not isinstance(cell, dict):
        raise AnswerError(f"a {name} is expected in each cell")
    return cell.get(name)


def _table(rows: object) -> NDArray[np.float64]:
    lists = [_list(row) for row in _list(rows)]
    if len({len(row) for row in lists}) > 1:
        raise AnswerError("rows of one length are expected")
    for value in (value for row in lists for value in row):
        if value is not None and not _is_quantity(value):
            raise AnswerError(f"{value!r:.40} is neither a quantity nor null")
    return np.array(
        [[np.nan if value is None else float(value) for value in row] for row in lists],
        dtype=np.float64,
    )


def _is_quantity(value: object) -> bool:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return number and 0.0 <= float(value) < 1e9  # type: ignore[arg-type]  # a number by now


def _off_km(waypoints: object, rows: int) -> NDArray[np.float64]:
    off_km = np.full(rows, np.nan)
    if isinstance(waypoints, list) and len(waypoints) == rows:
        for index, waypoint in enumerate(waypoints):
            metres = waypoint.get("distance") if isinstance(waypoint, dict) else None
            if metres is not None and _is_quantity(metres):
                off_km[index] = metres / 1000.0
    return off_km
