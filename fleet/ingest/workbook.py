"""Workbooks (.xlsx): one sheet a table, native cells taken where they cannot be misread."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING
from zipfile import BadZipFile, ZipFile

from fleet.ingest.cell import CellError
from fleet.ingest.contract import Kind, TableContract
from fleet.ingest.csv_file import RawRow
from fleet.ingest.file_log import FileLog
from fleet.ingest.header import Header, read_header
from fleet.ingest.lost_cell import LostCells, find_lost_cells
from fleet.ingest.sheet_scan import scan_sheet, sheet_parts

if TYPE_CHECKING:
    from python_calamine import CalamineSheet

CELL_LIMIT = 10_000_000
"""Cells that the sheets may span in all, such as 400,000 rows of 25 columns: about 300 MB once laid
out (measured)."""

NUMBER_AS_TEXT = "stored as a number, leading zeros may be lost: format the column as text"


class WorkbookError(ValueError):
    """A workbook cannot be opened; the message says why."""


@dataclass(frozen=True, slots=True)
class Workbook:
    """An opened workbook: its sheets with content, and the cells that its reader cannot give."""

    sheets: Mapping[str, CalamineSheet]
    lost: Mapping[str, LostCells]

    def read_sheet(self, name: str, contract: TableContract, log: FileLog) -> Iterator[RawRow]:
        """Read the rows of a sheet as texts.

        Parameters
        ----------
        name : str
            A sheet of the workbook.
        contract : TableContract
            The table that it should hold.
        log : FileLog
            Takes problems with the header and cells that could be misread.

        Yields
        ------
        tuple of int and dict
            Rows with any content; a cell that was complained of is left out.
        """
        rows = self._rows(name)
        _, first = next(rows, (1, []))
        header = read_header([str(cell) for cell in first], contract, log)
        if header is None:
            return
        for number, cells in rows:
            if any(cell != "" for cell in cells):
                yield number, _texts(cells, header, contract=contract, row=number, log=log)

    def _rows(self, name: str) -> Iterator[tuple[int, list[object]]]:
        """Give the rows with their numbers, from column A on, lost cells put back."""
        sheet = self.sheets[name]
        left = sheet.start[1] if sheet.start else 0
        lost = self.lost.get(name, {})
        number = -1
        for number, cells in enumerate(sheet.iter_rows()):
            yield number + 1, _with_lost([""] * left + list(cells), lost.get(number, {}))
        for beyond in sorted(row for row in lost if row > number):
            yield beyond + 1, _with_lost([], lost[beyond])


def open_workbook(path: Path) -> Workbook:
    """Open a workbook.

    Parameters
    ----------
    path : Path
        File that exists.

    Returns
    -------
    Workbook
        Read into memory.

    Raises
    ------
    WorkbookError
        It is no workbook, is damaged, locked by a password, or spans too many cells.
    """
    with _opening():
        with ZipFile(path) as packed:
            lost = _lost_cells(packed)
        return Workbook(_filled_sheets(path, lost), lost)


def _lost_cells(packed: ZipFile) -> dict[str, LostCells]:
    """Look at each sheet before it is laid out; refuse what would take all memory."""
    found: dict[str, LostCells] = {}
    cells = 0
    for name, part in sheet_parts(packed).items():
        with packed.open(part) as stream:
            scan = scan_sheet(stream)
        cells += scan.cells
        if cells > CELL_LIMIT:
            span = f"{scan.rows} rows and {scan.columns} columns"
            raise WorkbookError(f"sheet {name} spans {span}; delete the cells outside its table")
        if scan.has_lost_cells:
            with packed.open(part) as stream:
                found[name] = find_lost_cells(stream)
    return found


def _filled_sheets(path: Path, lost: Mapping[str, LostCells]) -> dict[str, CalamineSheet]:
    """Give the sheets that hold cells, in order; charts are none."""
    from python_calamine import CalamineWorkbook, SheetTypeEnum

    book = CalamineWorkbook.from_path(path)
    sheets = {
        sheet.name: book.get_sheet_by_name(sheet.name)
        for sheet in book.sheets_metadata
        if sheet.typ == SheetTypeEnum.WorkSheet
    }
    return {name: sheet for name, sheet in sheets.items() if sheet.height or lost.get(name)}


@contextmanager
def _opening() -> Iterator[None]:
    """Turn whatever a damaged workbook sets off into one error."""
    try:
        yield
    except WorkbookError:
        raise
    except (BadZipFile, OSError, EOFError) as error:
        raise WorkbookError(
            "it is no .xlsx workbook, or is damaged or locked; save it anew"
        ) from error
    except BaseException as error:  # a panic of the reader is no Exception
        if isinstance(error, KeyboardInterrupt | SystemExit | MemoryError):
            raise
        raise WorkbookError(f"it is damaged ({error}); save it anew") from error


def _with_lost(cells: list[object], lost: Mapping[int, CellError]) -> list[object]:
    for column, fault in lost.items():
        cells += [""] * (column + 1 - len(cells))
        cells[column] = fault
    return cells


def _texts(
    cells: list[object], header: Header, *, contract: TableContract, row: int, log: FileLog
) -> dict[str, str]:
    """Turn the cells of a row into texts; tell those that could be misread or have no column."""
    texts: dict[str, str] = {}
    for name, cell in zip_longest(header, cells, fillvalue=""):
        if not name:
            continue
        try:
            texts[name] = cell_text(cell, contract.column(name).kind)
        except CellError as error:
            log.add(str(error), row=row, column=name, value=_shown(cell))
    return texts


def cell_text(cell: object, kind: Kind) -> str:
    """Give the text that a CSV file would have in place of a native cell.

    Parameters
    ----------
    cell : object
        As python-calamine gives it, or a `CellError` for a cell that it cannot give.
    kind : Kind
        What the column expects.

    Returns
    -------
    str
        Text to be parsed.

    Raises
    ------
    CellError
        The cell is of another nature than its column.
    """
    if isinstance(cell, CellError):
        raise cell
    if isinstance(cell, str):
        return cell.replace("\r\n", "\n")
    if isinstance(cell, bool):
        return _native(cell, kind, Kind.YES_NO, "yes" if cell else "no")
    if isinstance(cell, int | float):
        return _number_text(cell, kind)
    if isinstance(cell, date | time):
        return _time_text(cell, kind)
    raise CellError(f"a span of time; {kind.value} is expected")


def _native(cell: object, kind: Kind, own: Kind, text: str) -> str:
    if kind is not own:
        raise CellError(f"stored as {_nature(cell)}; {kind.value} is expected")
    return text


def _number_text(cell: float, kind: Kind) -> str:
    if kind.is_text and kind is not Kind.INSTANT:
        raise CellError(NUMBER_AS_TEXT)
    if kind not in (Kind.NUMBER, Kind.INTEGER):
        raise CellError(f"stored as a number; {kind.value} is expected")
    return str(int(cell)) if float(cell).is_integer() and abs(cell) < 1e15 else repr(cell)


def _time_text(cell: date | time, kind: Kind) -> str:
    if kind is Kind.INSTANT and isinstance(cell, datetime):
        raise CellError(
            "stored as a date, which has no offset from UTC: format the column as text and write "
            f"such as {cell:%Y-%m-%dT%H:%M}+01:00 with the offset of the site's clock"
        )
    if isinstance(cell, time):
        if cell.second or cell.microsecond:
            raise CellError("a clock time without seconds is expected")
        return _native(cell, kind, Kind.CLOCK, f"{cell:%H:%M}")
    if isinstance(cell, datetime):
        raise CellError(f"stored as a date with a time; {kind.value} is expected")
    return _native(cell, kind, Kind.DAY, cell.isoformat())


def _nature(cell: object) -> str:
    if isinstance(cell, bool):
        return "a truth value"
    return "a clock time" if isinstance(cell, time) else "a date"


def _shown(cell: object) -> str:
    if isinstance(cell, CellError):
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell)
