"""Workbooks (.xlsx): one sheet a table, native cells taken where they cannot be misread."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING
from zipfile import BadZipFile, ZipFile

from fleet.ingest.cell import CellError
from fleet.ingest.contract import TableContract
from fleet.ingest.csv_file import RawRow
from fleet.ingest.file_log import FileLog
from fleet.ingest.header import Header, read_header
from fleet.ingest.lost_cell import LostCells, find_lost_cells
from fleet.ingest.native_cell import table_text
from fleet.ingest.sheet_scan import false_count, scan_sheet, sheet_parts

if TYPE_CHECKING:
    from python_calamine import CalamineSheet

CELL_LIMIT = 10_000_000
"""Cells that the sheets may span in all, such as 400,000 rows of 25 columns: about 300 MB once laid
out (measured)."""


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
        rows = self.numbered_rows(name)
        _, first = next(rows, (1, []))
        header = read_header([str(cell) for cell in first], contract, log)
        if header is None:
            return
        for number, cells in rows:
            if any(cell != "" for cell in cells):
                yield number, _texts(cells, header, contract=contract, row=number, log=log)

    def numbered_rows(self, name: str) -> Iterator[tuple[int, list[object]]]:
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
            if told := false_count(packed):
                raise WorkbookError(f"it is damaged ({told}); save it anew")
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
            texts[name] = table_text(cell, contract.column(name).kind)
        except CellError as error:
            log.add(str(error), row=row, column=name, value=_shown(cell))
    return texts


def _shown(cell: object) -> str:
    if isinstance(cell, CellError):
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell)
