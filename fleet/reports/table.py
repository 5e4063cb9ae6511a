"""A frame as text, CSV, JSON or a workbook; the same frame gives the same bytes."""

from __future__ import annotations

import io
import json
import math
import os
import tempfile
import textwrap
from datetime import date, datetime
from itertools import zip_longest
from pathlib import Path
from typing import Any

import pandas as pd

from fleet.domain.csv_text import guarded
from fleet.reports.wording import plain_text

_DECIMALS = 6


def render_text(frame: pd.DataFrame, form: str, *, wrap: int | None = None) -> str:
    """Give a frame as text.

    Parameters
    ----------
    frame : DataFrame
        Columns in their final order.
    form : str
        ``table``, ``csv`` or ``json``.
    wrap : int, optional
        Columns of the ``table`` form that are wider go on in the next line; None never breaks.

    Returns
    -------
    str
        Ends with a line feed. An empty frame gives the headers alone, or ``[]``.

    Raises
    ------
    ValueError
        Any other form.
    """
    if form == "csv":
        return _csv(frame)
    if form == "json":
        rows = [
            {str(name): _plain(value) for name, value in row.items()}
            for row in frame.to_dict("records")
        ]
        return json.dumps(rows, ensure_ascii=False, indent=1) + "\n"
    if form == "table":
        return _table(frame, wrap)
    raise ValueError(f"{form!r} is not a text form")


def write_table(
    frame: pd.DataFrame, form: str, path: Path, *, title: str = "", wrap: int | None = None
) -> None:
    """Write a frame to a file, whole or not at all.

    Parameters
    ----------
    frame : DataFrame
    form : str
        ``table``, ``csv``, ``json`` or ``xlsx``.
    path : Path
        Replaced when it exists.
    title : str
        Sheet name of a workbook.
    wrap : int, optional
        As in `render_text`.
    """
    write_whole(
        path,
        _workbook(frame, title) if form == "xlsx" else render_text(frame, form, wrap=wrap).encode(),
    )


def write_whole(path: Path, content: bytes) -> None:
    """Write a file beside its place and move it there, so that nobody sees half of it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _plain(value: Any) -> Any:
    if hasattr(value, "item"):
        value = value.item()
    if value is None or value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, float) and math.isnan(value):
        return None
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, float):
        return round(value, _DECIMALS)
    return value


def _cell(value: Any) -> str:
    plain = _plain(value)
    if plain is None:
        return ""
    if isinstance(plain, bool):
        return "yes" if plain else "no"
    if isinstance(plain, float):
        return f"{plain:.{_DECIMALS}f}".rstrip("0").rstrip(".")
    return str(plain)


def _csv_cell(value: Any) -> str:
    text = _cell(value)
    return guarded(text) if isinstance(value, str) else text


def _csv(frame: pd.DataFrame) -> str:
    import csv

    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(frame.columns)
    for row in frame.itertuples(index=False, name=None):
        writer.writerow([_csv_cell(value) for value in row])
    return buffer.getvalue()


def _table(frame: pd.DataFrame, wrap: int | None) -> str:
    from rich.cells import cell_len

    headers = [str(name) for name in frame.columns]
    rows = [
        line
        for row in frame.itertuples(index=False, name=None)
        for line in _lines([plain_text(_cell(value)) for value in row], wrap)
    ]
    numeric = [
        all(isinstance(_plain(v), int | float | None) and not isinstance(v, bool) for v in column)
        for column in (frame[name].tolist() for name in frame.columns)
    ]
    columns = list(zip(*rows, strict=True)) if rows else [() for _ in headers]
    widths = [
        max([cell_len(head), *(cell_len(cell) for cell in cells)])
        for head, cells in zip(headers, columns, strict=True)
    ]

    def line(cells: list[str]) -> str:
        parts = []
        for cell, width, right in zip(cells, widths, numeric, strict=True):
            pad = " " * (width - cell_len(cell))
            parts.append(pad + cell if right else cell + pad)
        return "  ".join(parts).rstrip()

    rule = "  ".join("-" * width for width in widths)
    return "\n".join([line(headers), rule, *(line(row) for row in rows)]) + "\n"


def _lines(cells: list[str], wrap: int | None) -> list[list[str]]:
    """Break the cells of one row into the lines that it takes."""
    if wrap is None:
        return [cells]
    broken = [textwrap.wrap(cell, wrap) for cell in cells]
    return [list(line) for line in zip_longest(*broken, fillvalue="")] or [cells]


def _workbook(frame: pd.DataFrame, title: str) -> bytes:
    import xlsxwriter

    buffer = io.BytesIO()
    options = {"strings_to_formulas": False, "strings_to_urls": False, "in_memory": True}
    book = xlsxwriter.Workbook(buffer, options)
    book.set_properties({"created": datetime(2000, 1, 1)})  # noqa: DTZ001  # fixed for same bytes
    sheet = book.add_worksheet((title or "table")[:31])
    bold = book.add_format({"bold": True, "bottom": 1})
    for number, name in enumerate(frame.columns):
        sheet.write_string(0, number, str(name), bold)
        cells = [_cell(value) for value in frame[name].head(200)]
        longest = max([len(str(name)), *(len(cell) for cell in cells)])
        sheet.set_column(number, number, min(longest + 2, 60))
    for row_number, row in enumerate(frame.itertuples(index=False, name=None), start=1):
        for number, value in enumerate(row):
            _put_cell(sheet, row_number, number, _plain(value))
    sheet.freeze_panes(1, 0)
    book.close()
    return buffer.getvalue()


def _put_cell(sheet: Any, row: int, column: int, value: Any) -> None:
    if value is None:
        return
    if isinstance(value, bool):
        sheet.write_boolean(row, column, value)
    elif isinstance(value, int | float):
        sheet.write_number(row, column, value)
    else:
        sheet.write_string(row, column, str(value))
