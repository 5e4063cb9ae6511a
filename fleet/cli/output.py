"""Results to stdout or a file, notes to stderr."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fleet.cli.options import FORMATS

if TYPE_CHECKING:
    import pandas as pd

_STEERING = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)
"""Control characters but tab and line feed, explicit bidirectional signs (Unicode annex 9), and
what is no character at all."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A table for the eye: only these columns (none named: all), wide ones broken into lines."""

    columns: tuple[str, ...] = ()
    wrap: int = 64


def put_frame(
    frame: pd.DataFrame,
    form: str | None,
    output: Path,
    *,
    title: str = "",
    reading: Reading | None = None,
) -> None:
    """Write a table in the form asked for.

    Parameters
    ----------
    frame : DataFrame
        Columns in their final order, units in the names.
    form : str or None
        table, csv, json or xlsx; None chooses by the file's ending or the terminal.
    output : Path
        ``-`` is stdout.
    title : str
        Sheet name of a workbook.
    reading : Reading, optional
        How the table form is made fit for reading; the other forms give all.
    """
    from fleet.reports.table import render_text, write_table

    to_stdout = str(output) == "-"
    chosen = form or _choose(output, to_stdout)
    if chosen == "xlsx" and to_stdout:
        raise click.UsageError("A workbook needs a file: --output NAME.xlsx")
    wrap = None if reading is None else reading.wrap
    if chosen == "table" and reading is not None:
        frame = frame[list(reading.columns or frame.columns)]
    if not to_stdout:
        write_table(frame, chosen, output, title=title, wrap=wrap)
        note(f"{counted(len(frame), 'row')} written to {output}")
        return
    click.echo(render_text(frame, chosen, wrap=wrap), nl=False)


def note(text: str) -> None:
    """Write a note for the person at the terminal; quiet mode drops it."""
    context = click.get_current_context(silent=True)
    if context is not None and context.meta.get("fleet.quiet"):
        return
    click.echo(visible(text), err=True)


def visible(text: str) -> str:
    r"""Show characters that steer a terminal, or turn the order of the text around, as codes.

    Examples
    --------
    >>> visible("\x1b[31mred\n\u202egnp")
    '\\x1b[31mred\n\\u202egnp'
    """
    return _STEERING.sub(lambda sign: sign.group().encode("unicode_escape").decode(), text)


def counted(number: int, noun: str) -> str:
    """Write a number with its noun: ``1 stop``, ``2 stops``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _choose(output: Path, to_stdout: bool) -> str:
    ending = output.suffix.lstrip(".")
    if not to_stdout and ending in FORMATS:
        return ending
    return "table" if to_stdout and sys.stdout.isatty() else "csv"
