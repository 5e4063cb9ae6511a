"""Where input tables come from: a folder of CSV files, one CSV file, or a workbook."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from fleet.errors import Problem
from fleet.ingest.catalogue import TABLES
from fleet.ingest.contract import TableContract
from fleet.ingest.csv_file import RawRow, read_csv
from fleet.ingest.file_log import FileLog
from fleet.ingest.nearest import did_you_mean
from fleet.ingest.workbook import Workbook, WorkbookError, open_workbook

OTHER_TABLE_FILES = frozenset({".ods", ".tab", ".tsv", ".txt", ".xls", ".xlsb", ".xlsm", ".xlsx"})
"""Endings that somebody might expect to be read from a folder when the name is a table's."""

_AS_CSV = "save it as CSV UTF-8 or as one .xlsx workbook"


@dataclass(frozen=True, slots=True)
class FoundTable:
    """One table that was found; its rows can be read once.

    ``size`` is that of its file in bytes; a sheet counts nothing, as its workbook is read whole.
    """

    contract: TableContract
    log: FileLog
    rows: Iterator[RawRow]
    size: int = 0


def find_tables(path: Path) -> tuple[list[FoundTable], list[Problem]]:
    """Find the tables of a folder, a file or a workbook.

    Parameters
    ----------
    path : Path
        What a person named.

    Returns
    -------
    tuple
        Tables in order of their files or sheets, not yet read, and problems with names and with
        files as wholes.
    """
    problems: list[Problem] = []
    try:
        if path.is_dir():
            tables = _folder_tables(path, problems)
        elif path.is_file():
            tables = _file_tables(path, problems)
        else:
            tables = []
            _tell(problems, str(path), "there is no such file or folder")
    except OSError as error:
        tables = []
        _tell(problems, str(path), f"it cannot be read: {error.strerror}")
    return tables, problems


def _tell(problems: list[Problem], file: str, expected: str) -> None:
    problems.append(Problem(file, None, None, None, expected))


def _folder_tables(folder: Path, problems: list[Problem]) -> list[FoundTable]:
    files = [
        path
        for path in sorted(folder.iterdir())
        if path.is_file() and not path.name.startswith((".", "~"))
    ]
    for path in files:
        if path.suffix.lower() in OTHER_TABLE_FILES and path.stem in TABLES:
            expected = f"only CSV files are read from a folder; {_AS_CSV}, and name that"
            _tell(problems, path.name, expected)
    csv_files = [path for path in files if path.suffix.lower() == ".csv"]
    if not csv_files and not problems:
        _tell(problems, str(folder), f"no CSV file in it; {_some_of('.csv')} expected")
    tables = [table for path in csv_files if (table := _csv_table(path, problems)) is not None]
    return _without_doubles(tables, problems)


def _file_tables(path: Path, problems: list[Problem]) -> list[FoundTable]:
    if path.suffix.lower() == ".xlsx":
        return _workbook_tables(path, problems)
    if path.suffix.lower() == ".csv":
        table = _csv_table(path, problems)
        return [] if table is None else [table]
    _tell(problems, path.name, f"a CSV file or a workbook (.xlsx) is expected; {_AS_CSV}")
    return []


def _csv_table(path: Path, problems: list[Problem]) -> FoundTable | None:
    contract = TABLES.get(path.stem)
    if contract is None:
        _tell(problems, path.name, _unknown_name(path.stem, "file", ".csv"))
        return None
    log = FileLog(path.name)
    return FoundTable(contract, log, read_csv(path, contract, log), path.stat().st_size)


def _without_doubles(tables: list[FoundTable], problems: list[Problem]) -> list[FoundTable]:
    """Keep one file a table: ``visits.csv`` and ``visits.CSV`` can stand side by side."""
    kept: dict[str, FoundTable] = {}
    for table in tables:
        first = kept.setdefault(table.contract.name, table)
        if first is not table:
            _tell(problems, table.log.file, f"{first.log.file} holds this table already")
    return list(kept.values())


def _workbook_tables(path: Path, problems: list[Problem]) -> list[FoundTable]:
    try:
        book = open_workbook(path)
    except WorkbookError as error:
        _tell(problems, path.name, str(error))
        return []
    if not book.sheets:
        _tell(problems, path.name, f"a workbook without content; {_some_of('')} expected as sheets")
    return list(_sheet_tables(book, path=path, problems=problems))


def _sheet_tables(book: Workbook, *, path: Path, problems: list[Problem]) -> Iterator[FoundTable]:
    for name in book.sheets:
        label = f"{path.name} sheet {name}"
        contract = TABLES.get(name)
        if contract is None:
            _tell(problems, label, _unknown_name(name, "sheet", ""))
        else:
            log = FileLog(label)
            yield FoundTable(contract, log, book.read_sheet(name, contract, log))


def _unknown_name(name: str, what: str, ending: str) -> str:
    hint = did_you_mean(name, TABLES)
    expected = hint or f"; {_some_of(ending)} expected"
    return f"no input table has the name of this {what}{expected}"


def _some_of(ending: str) -> str:
    names = [f"{name}{ending}" for name in TABLES]
    return f"{', '.join(names[:-1])} or {names[-1]} is"
