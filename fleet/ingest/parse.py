"""From the text of a cell to a typed value, by the kind of its column."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from fleet.ingest.cell import CellError, check_cell
from fleet.ingest.contract import Column, Kind
from fleet.ingest.parse_number import parse_integer, parse_number
from fleet.ingest.parse_text import (
    parse_code,
    parse_codes,
    parse_region,
    parse_text,
    parse_time_zone,
    parse_word,
    parse_words,
    parse_yes_no,
)
from fleet.ingest.parse_time import parse_clock, parse_day, parse_instant

Parser = Callable[[str, Column, date], object]

_PARSERS: dict[Kind, Parser] = {
    Kind.TEXT: lambda text, column, today: parse_text(text, several_lines=False),
    Kind.NOTE: lambda text, column, today: parse_text(text, several_lines=True),
    Kind.CODE: lambda text, column, today: parse_code(text),
    Kind.CODES: lambda text, column, today: parse_codes(text),
    Kind.WORD: lambda text, column, today: parse_word(text, column),
    Kind.WORDS: lambda text, column, today: parse_words(text, column),
    Kind.NUMBER: lambda text, column, today: parse_number(text, column),
    Kind.INTEGER: lambda text, column, today: parse_integer(text, column),
    Kind.YES_NO: lambda text, column, today: parse_yes_no(text),
    Kind.DAY: lambda text, column, today: parse_day(text, column, today=today),
    Kind.INSTANT: lambda text, column, today: parse_instant(text, column, today=today),
    Kind.CLOCK: lambda text, column, today: parse_clock(text),
    Kind.TIME_ZONE: lambda text, column, today: parse_time_zone(text),
    Kind.REGION: lambda text, column, today: parse_region(text),
}

MEMORY_LIMIT = 20_000
"""Different cells of one column that are remembered, then all anew: columns repeat, and those
that do not at least have equal cells near each other."""


@dataclass(frozen=True, slots=True)
class Complaint:
    """What stands in place of a value that could not be read."""

    expected: str


def parse_cell(text: str, column: Column, *, today: date) -> object:
    """Read one cell.

    Parameters
    ----------
    text : str
        As it stands in the file, blanks included.
    column : Column
        What is expected.
    today : date
        The day of loading, for the limits of days.

    Returns
    -------
    object
        None for an empty cell; else str (or a member of the column's enumeration), float, int,
        bool, date, aware datetime, minutes after midnight for a clock time, or a tuple of str
        for a list.

    Raises
    ------
    CellError
        The cell is not plainly what the column expects.
    """
    if text == "":
        if column.required:
            raise CellError(f"a value is required: {column.meaning}")
        return None
    check_cell(text)
    return _PARSERS[column.kind](text, column, today)


class CellReader(dict[str, object]):
    """Reads the cells of one column, each different one once.

    Looked up with the text of a cell, it gives the value of `parse_cell`, or a `Complaint`.

    Parameters
    ----------
    column : Column
        What is expected.
    today : date
        The day of loading.
    """

    def __init__(self, column: Column, *, today: date) -> None:
        super().__init__()
        self._column = column
        self._today = today

    def __missing__(self, text: str) -> object:
        try:
            value = parse_cell(text, self._column, today=self._today)
        except CellError as error:
            value = Complaint(str(error))
        if len(self) >= MEMORY_LIMIT:
            self.clear()
        self[text] = value
        return value
