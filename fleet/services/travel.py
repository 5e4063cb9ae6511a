"""Where driving times come from: the great circle, or the user's own matrix."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from fleet.domain.plan import Place, Travel
from fleet.errors import InputError
from fleet.ingest.contract import Column, Kind, TableContract
from fleet.ingest.csv_file import read_csv
from fleet.ingest.draft import read_draft
from fleet.ingest.file_log import FileLog
from fleet.ingest.link import check_keys
from fleet.planning.distance import Leg, great_circle_travel, matrix_travel
from fleet.services.round_problem import TravelSource

MATRIX = TableContract(
    name="drives",
    meaning="Drives between places, each way given separately.",
    columns=(
        Column(name="from_key", kind=Kind.TEXT, meaning="a site code, or depot:CODE"),
        Column(name="to_key", kind=Kind.TEXT, meaning="a site code, or depot:CODE"),
        Column(name="minutes", kind=Kind.NUMBER, meaning="driving time", low=0, high=10_000),
        Column(name="km", kind=Kind.NUMBER, meaning="distance by road", low=0, high=100_000),
    ),
    key=("from_key", "to_key"),
)


def travel_source(matrix: Path | None) -> TravelSource:
    """Choose the source of driving times.

    Parameters
    ----------
    matrix : Path or None
        A CSV with the columns of `MATRIX`; keys are site codes and ``depot:CODE``.

    Returns
    -------
    callable
        Gives the drives between places; a gap in the matrix falls back to the great circle.

    Raises
    ------
    InputError
        With every problem of the file.
    """
    if matrix is None:
        return great_circle_travel
    legs = read_legs(matrix)

    def from_matrix(places: Sequence[Place]) -> Travel:
        return matrix_travel(places, legs)

    return from_matrix


def read_legs(path: Path) -> list[Leg]:
    """Read the legs of a matrix file.

    Parameters
    ----------
    path : Path
        CSV in UTF-8 with the columns of `MATRIX`.

    Raises
    ------
    InputError
        With every problem: header, cells, ranges, a pair that comes twice.
    """
    log = FileLog(path.name)
    rows = read_csv(path, MATRIX, log)
    draft = read_draft(MATRIX, rows, log, today=date.max)  # no column holds a day
    check_keys(draft)
    if log.problems:
        raise InputError(log.problems)
    return [Leg(**row.values) for row in draft.rows]
