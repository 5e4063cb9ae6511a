"""The first row of a table: which cell belongs to which column."""

from __future__ import annotations

from collections.abc import Sequence

from fleet.ingest.contract import TableContract
from fleet.ingest.file_log import FileLog
from fleet.ingest.nearest import did_you_mean

OTHER_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "upright strokes"}

Header = tuple[str | None, ...]
"""The column of each cell; None for a cell that belongs to none."""


def read_header(cells: Sequence[str], contract: TableContract, log: FileLog) -> Header | None:
    """Assign the cells of the first row to the table's columns.

    Parameters
    ----------
    cells : sequence of str
        The first row.
    contract : TableContract
        The table that the file should hold.
    log : FileLog
        Takes unknown, missing, repeated and nameless columns.

    Returns
    -------
    tuple or None
        None where the rows below cannot be read at all.
    """
    if not any(cells):
        log.add_loss(
            f"an empty file; a first row with the column names is expected: {_all(contract)}"
        )
        return None
    separator = _other_separator(cells, contract)
    if separator is not None:
        log.add_loss(
            f"columns separated by {separator}; save it as CSV with commas", row=1, value=cells[0]
        )
        return None
    header = tuple(name if name in contract.column_names else None for name in cells)
    _tell_nameless(cells, log)
    _tell_unknown(cells, contract, log)
    _tell_missing(cells, contract, log)
    return _without_repeats(header, log)


def _all(contract: TableContract) -> str:
    return ",".join(contract.column_names)


def _other_separator(cells: Sequence[str], contract: TableContract) -> str | None:
    if any(name in contract.column_names for name in cells):
        return None
    for sign, words in OTHER_SEPARATORS.items():
        if any(sign in cell for cell in cells):
            return words
    return None


def _tell_nameless(cells: Sequence[str], log: FileLog) -> None:
    nameless = [str(number) for number, name in enumerate(cells, start=1) if not name]
    if nameless:
        which = (
            f"columns {', '.join(nameless)} have" if nameless[1:] else f"column {nameless[0]} has"
        )
        log.add(f"{which} no name; name or delete what has none", row=1)


def _tell_unknown(cells: Sequence[str], contract: TableContract, log: FileLog) -> None:
    free = [name for name in contract.column_names if name not in cells]
    for name in cells:
        if name and name not in contract.column_names:
            hint = did_you_mean(name, free)
            log.add(
                f"an unknown column; {contract.name} has none of that name{hint}", row=1, value=name
            )


def _tell_missing(cells: Sequence[str], contract: TableContract, log: FileLog) -> None:
    for name in contract.column_names:
        if name not in cells:
            blank = "" if contract.column(name).required else "; its cells may stay empty"
            log.add_loss(f"the column {name} is missing{blank}", row=1)


def _without_repeats(header: Header, log: FileLog) -> Header:
    kept: list[str | None] = []
    for name in header:
        if name is not None and name in kept:
            log.add("a column that stands there twice; delete one", row=1, value=name)
            kept.append(None)
        else:
            kept.append(name)
    return tuple(kept)
