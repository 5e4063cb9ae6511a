"""One table while it is checked: its rows with typed values, and what is wrong with them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import groupby, islice
from typing import Any, NamedTuple

from fleet.ingest.contract import RowRule, TableContract
from fleet.ingest.csv_file import RawRow
from fleet.ingest.file_log import FileLog
from fleet.ingest.known import Key
from fleet.ingest.parse import CellReader, Complaint

Block = tuple[list[int], dict[str, list[str]]]
"""Numbers of some rows that have the same columns, and their texts column by column."""

_ROWS_A_BLOCK = 5000


class Row(NamedTuple):
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

    def all_keys(self) -> list[Key | None]:
        """Give the key of every row, as `key_of` does, but faster."""
        try:
            return list(zip(*(self.cells(name) for name in self.contract.key), strict=True))
        except KeyError:
            return [self.key_of(row) for row in self.rows]

    def cells(self, name: str) -> list[Any]:
        """Give one column.

        Raises
        ------
        KeyError
            A cell of it could not be read.
        """
        return [row.values[name] for row in self.rows]


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
    return read_blocks(contract, blocks_of(rows), log, today=today)


def blocks_of(rows: Iterable[RawRow], size: int = _ROWS_A_BLOCK) -> Iterator[Block]:
    """Turn rows into blocks of at most so many rows with the same columns, in their order."""
    waiting = iter(rows)
    while some := list(islice(waiting, size)):
        for names, alike in groupby(some, key=lambda row: tuple(row[1])):
            numbers, texts = zip(*alike, strict=True)
            yield list(numbers), {name: [row[name] for row in texts] for name in names}


def read_blocks(
    contract: TableContract, blocks: Iterable[Block], log: FileLog, *, today: date
) -> Draft:
    """Read as `read_draft` does a table that comes in blocks."""
    draft = Draft(contract, log)
    readers = {column.name: CellReader(column, today=today) for column in contract.columns}
    for numbers, texts in blocks:
        _read_block(draft, readers, numbers, texts)
    log.problems.sort(key=lambda problem: problem.row or 0)
    return draft


def _read_block(
    draft: Draft,
    readers: Mapping[str, CellReader],
    numbers: Sequence[int],
    texts: Mapping[str, Sequence[str]],
) -> None:
    columns = {name: list(map(readers[name].__getitem__, cells)) for name, cells in texts.items()}
    cells = zip(*columns.values(), strict=True)
    rows = list(map(Row, numbers, (dict(zip(columns, row, strict=True)) for row in cells)))
    for name, values in columns.items():
        if Complaint in set(map(type, values)):
            _take_out(draft, name, rows, texts[name])
    for rule in draft.contract.rules:
        _check_rule(draft, rule, rows, texts)
    draft.rows += rows


def _take_out(draft: Draft, name: str, rows: Iterable[Row], texts: Iterable[str]) -> None:
    """Complain of the cells that could not be read, and leave them out of their rows."""
    for row, text in zip(rows, texts, strict=True):
        if row.values[name].__class__ is Complaint:
            complaint = row.values.pop(name)
            draft.log.add(complaint.expected, row=row.row_number, column=name, value=text)
            if name in draft.contract.key:
                draft.stray_keys.add(text.strip())


def _check_rule(
    draft: Draft, rule: RowRule, rows: Sequence[Row], texts: Mapping[str, Sequence[str]]
) -> None:
    wanted = set(rule.columns)
    for place, row in enumerate(rows):
        if wanted <= row.values.keys() and not rule.holds(row.values):
            blamed = texts[rule.blame][place] if rule.blame in texts else ""
            draft.log.add(rule.text, row=row.row_number, column=rule.blame, value=blamed)
