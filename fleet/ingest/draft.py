"""One table while it is checked: its rows with typed values, and what is wrong with them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from fleet.ingest.contract import TableContract
from fleet.ingest.csv_file import RawRow
from fleet.ingest.file_log import FileLog
from fleet.ingest.known import Key
from fleet.ingest.parse import CellReader, Complaint


@dataclass(frozen=True, slots=True)
class Row:
    """One row of an input table.

    ``row_number`` counts as a spreadsheet does (header = 1). ``values`` has every column of the
    table in a batch without problems; a cell that could not be read is left out.
    """

    row_number: int
    values: dict[str, Any]


@dataclass(slots=True)
class Draft:
    """A table read and not yet accepted.

    ``stray_keys`` are texts of key cells that could not be read: rows that refer to them are
    not blamed as well.
    """

    contract: TableContract
    log: FileLog
    rows: list[Row] = field(default_factory=list)
    stray_keys: set[str] = field(default_factory=set)

    def key_of(self, row: Row) -> Key | None:
        """Give the key of a row, None where one of its cells could not be read."""
        try:
            return tuple([row.values[name] for name in self.contract.key])
        except KeyError:
            return None


def read_draft(
    contract: TableContract, rows: Iterable[RawRow], log: FileLog, *, today: date
) -> Draft:
    """Read every cell of a table and check each row by itself.

    Parameters
    ----------
    contract : TableContract
        What is expected.
    rows : iterable of tuple of int and dict
        Row numbers and texts by column name.
    log : FileLog
        Takes the problems.
    today : date
        The day of loading.

    Returns
    -------
    Draft
        With every row, also faulty ones.
    """
    draft = Draft(contract, log)
    readers = {column.name: CellReader(column, today=today) for column in contract.columns}
    for number, texts in rows:
        values: dict[str, Any] = {}
        for name, text in texts.items():
            value = readers[name][text]
            if value.__class__ is Complaint:
                log.add(value.expected, row=number, column=name, value=text)
                _note_stray(draft, name, text)
            else:
                values[name] = value
        draft.rows.append(Row(number, values))
        _check_row(draft, number, values, texts)
    return draft


def _note_stray(draft: Draft, name: str, text: str) -> None:
    if name in draft.contract.key:
        draft.stray_keys.add(text.strip())


def _check_row(draft: Draft, number: int, values: dict[str, Any], texts: dict[str, str]) -> None:
    for rule in draft.contract.rules:
        if all(name in values for name in rule.columns) and not rule.holds(values):
            blamed = texts.get(rule.blame, "")
            draft.log.add(rule.text, row=number, column=rule.blame, value=blamed)
