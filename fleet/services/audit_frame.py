"""Rows of the audit as a frame: the fields of the row are the columns, in their order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass
from datetime import date, datetime
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
    columns = dict(_columns(row_type))
    cells = [list(_cells(row)) for row in rows]
    return pd.DataFrame(
        {
            name: pd.Series([row[number] for row in cells], dtype=dtype)
            for number, (name, dtype) in enumerate(columns.items())
        }
    )


def _columns(row_type: type) -> Iterator[tuple[str, str]]:
    for name, hint in get_type_hints(row_type).items():
        if is_dataclass(hint) and isinstance(hint, type):
            yield from _columns(hint)
        else:
            yield name, DTYPES[hint]


def _cells(row: Any) -> Iterator[object]:
    for field in fields(row):
        value = getattr(row, field.name)
        if is_dataclass(value):
            yield from _cells(value)
        else:
            yield value
