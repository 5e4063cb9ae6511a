"""Rows of the audit as a frame: the fields of the row are the columns, in their order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import is_dataclass
from datetime import date, datetime
from operator import attrgetter
from typing import Any, get_type_hints

import pandas as pd

DTYPES: dict[Any, str] = {
    str: "str",
    str | None: "str",
    int: "int64",
    int | None: "Int64",
    float: "float64",
    float | None: "float64",
    bool: "bool",
    date: "object",
    date | None: "object",
    datetime: "object",
    datetime | None: "object",
}
"""Dtype of a column by the annotation of its field; days are `datetime.date`,
instants aware `datetime.datetime` in UTC."""


def frame_of(row_type: type, rows: Sequence[object]) -> pd.DataFrame:
    """Give rows as a frame.

    Parameters
    ----------
    row_type : type
        A dataclass; a field that is itself a dataclass gives its own fields.
    rows : sequence of row_type

    Returns
    -------
    DataFrame
        One row each, in their order; with no rows the same columns and dtypes.
    """
    columns = tuple(row_paths(row_type))
    cells_of = attrgetter(*(path for path, _ in columns), "__class__")  # two or more give a tuple
    cells = list(zip(*map(cells_of, rows), strict=True)) or [()] * len(columns)
    return pd.DataFrame(
        {
            path.rpartition(".")[2]: pd.Series(cells[number], dtype=DTYPES[hint])
            for number, (path, hint) in enumerate(columns)
        }
    )


def row_paths(row_type: type, inside: str = "") -> Iterator[tuple[str, Any]]:
    """Give the way to each cell of a row, with dots, and its annotation.

    Parameters
    ----------
    row_type : type
        A dataclass; a field that is itself a dataclass gives its own fields.
    inside : str
        What stands before each way.

    Yields
    ------
    tuple
        In the order of the fields; the last part of a way is the name of the column.
    """
    for name, hint in get_type_hints(row_type).items():
        if is_dataclass(hint) and isinstance(hint, type):
            yield from row_paths(hint, f"{inside}{name}.")
        else:
            yield f"{inside}{name}", hint
