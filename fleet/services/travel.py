"""Where driving times come from: the great circle, or the user's own matrix."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from pathlib import Path

from fleet.domain.plan import Place, Travel
from fleet.errors import InputError, Problem
from fleet.planning.distance import Leg, great_circle_travel, matrix_travel
from fleet.services.round_problem import TravelSource

MATRIX_COLUMNS = ("from_key", "to_key", "minutes", "km")


def travel_source(matrix: Path | None) -> TravelSource:
    """Choose the source of driving times.

    Parameters
    ----------
    matrix : Path or None
        A CSV with `MATRIX_COLUMNS`; keys are site codes and ``depot:CODE``.

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
    """Read the legs of a matrix file; every problem is reported at once."""
    problems: list[Problem] = []
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            [Problem(path.name, None, None, None, "the file is not UTF-8; save it as CSV UTF-8")]
        ) from error
    rows = list(csv.reader(text.splitlines()))
    if not rows or tuple(rows[0]) != MATRIX_COLUMNS:
        head = ",".join(rows[0]) if rows else ""
        expected = f"the header must be {','.join(MATRIX_COLUMNS)}"
        raise InputError([Problem(path.name, 1, None, head, expected)])
    legs = [
        leg
        for number, row in enumerate(rows[1:], start=2)
        for leg in _leg(path.name, number, row, problems)
    ]
    if problems:
        raise InputError(problems)
    return legs


def _leg(file: str, number: int, row: list[str], problems: list[Problem]) -> Iterator[Leg]:
    if len(row) != len(MATRIX_COLUMNS):
        expected = f"{len(MATRIX_COLUMNS)} cells, {len(row)} found"
        problems.append(Problem(file, number, None, None, expected))
        return
    figures: list[float] = []
    for name, text in zip(MATRIX_COLUMNS[2:], row[2:], strict=True):
        try:
            figures.append(float(text))
        except ValueError:
            problems.append(Problem(file, number, name, text, "a number with a decimal point"))
            continue
        if not 0 <= figures[-1] < 1e6:  # also refuses nan
            problems.append(Problem(file, number, name, text, "a number from 0 to 1,000,000"))
    if len(figures) == len(MATRIX_COLUMNS) - 2:
        yield Leg(row[0], row[1], figures[0], figures[1])
