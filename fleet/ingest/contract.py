"""What an input table must look like: columns, key, references and the rules of a row."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum, StrEnum, unique
from typing import Any

Cells = Mapping[str, Any]
"""Typed values of one row by column name; what type each has is told by its column."""


@unique
class Kind(Enum):
    """How a cell is written; the value is what the description says of it."""

    TEXT = "text on one line"
    NOTE = "text, may have several lines"
    CODE = "code"
    CODES = "codes separated by one space"
    WORD = "one word of a list"
    WORDS = "words of a list separated by one space"
    NUMBER = "number with a decimal point"
    INTEGER = "whole number"
    YES_NO = "yes or no"
    DAY = "day as 2025-03-31"
    INSTANT = "local time with offset from UTC as 2025-03-31T09:30+01:00"
    CLOCK = "clock time as 09:30"
    TIME_ZONE = "IANA time zone name"
    REGION = "ISO 3166 country code or code-subdivision"

    @property
    def is_text(self) -> bool:
        """Tell whether a spreadsheet must hold such a cell as text."""
        return self not in _NATIVE


_NATIVE = frozenset({Kind.NUMBER, Kind.INTEGER, Kind.YES_NO, Kind.DAY, Kind.CLOCK})


@unique
class Horizon(Enum):
    """How late a day or an instant may be, seen from today."""

    PAST = "not in the future"
    NEXT_YEAR = "until the end of next year"
    OPEN = "until 2100"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of an input table.

    ``low`` and ``high`` include their ends. ``refers_to`` names the table whose single key the
    cell (each code of a list) must be. ``meaning`` states the unit.
    """

    name: str
    kind: Kind
    meaning: str
    required: bool = True
    low: float | None = None
    high: float | None = None
    choices: type[StrEnum] | tuple[str, ...] = ()
    refers_to: str | None = None
    horizon: Horizon = Horizon.NEXT_YEAR


@dataclass(frozen=True, slots=True)
class RowRule:
    """Something that must hold between the cells of one row.

    ``blame`` is the column that a problem is put down to; ``holds`` sees typed cells and is only
    asked when every one of ``columns`` could be read.
    """

    text: str
    columns: tuple[str, ...]
    blame: str
    holds: Callable[[Cells], bool]


@dataclass(frozen=True, slots=True)
class Link:
    """Columns that together must stand in the key columns of the same name of another table."""

    columns: tuple[str, ...]
    table: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TableContract:
    """One input table, whole.

    ``rules`` hold in each row; ``notes`` say in words what holds between rows. ``together`` names
    the column by which a large input may be split: rows that have to be seen side by side, in this
    table and in the others with that column, have the same cell there.
    """

    name: str
    meaning: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    rules: tuple[RowRule, ...] = ()
    links: tuple[Link, ...] = ()
    notes: tuple[str, ...] = ()
    together: str | None = None

    @property
    def column_names(self) -> tuple[str, ...]:
        """Give the names in the order in which files are written."""
        return tuple(column.name for column in self.columns)

    @property
    def parents(self) -> frozenset[str]:
        """Give the tables that must be loaded before this one."""
        named = {column.refers_to for column in self.columns if column.refers_to}
        return frozenset(named | {link.table for link in self.links})

    def column(self, name: str) -> Column:
        """Give the column of a name.

        Raises
        ------
        KeyError
            The table has no such column.
        """
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)
