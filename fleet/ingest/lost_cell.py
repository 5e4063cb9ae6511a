"""Cells of a workbook whose values its reader gives as empty: errors, and formulas never computed.

Such a cell would otherwise pass for an empty one, and an empty cell often means "none".
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import IO
from xml.etree.ElementTree import Element, iterparse

from fleet.ingest.cell import CellError
from fleet.ingest.sheet_scan import cell_place, local_name

LostCells = Mapping[int, Mapping[int, CellError]]
"""What is wrong with a cell, by row and column, both counted from 0."""


def find_lost_cells(stream: IO[bytes]) -> LostCells:
    """Find the cells of a sheet that a reader of values would silently take for empty.

    Parameters
    ----------
    stream : binary stream
        A worksheet part (ECMA-376 part 1, 18.3).

    Returns
    -------
    mapping
        Rows with such cells alone.

    Raises
    ------
    ParseError
        The part is damaged.
    """
    lost: dict[int, dict[int, CellError]] = defaultdict(dict)
    row, column = -1, -1
    for event, element in iterparse(stream, events=("start", "end")):
        tag = local_name(element.tag)
        if event == "start" and tag == "row":
            row, column = int(element.get("r", row + 2)) - 1, -1
        elif event == "start" and tag == "c":
            row, column = cell_place(element.get("r", "")) or (row, column + 1)
        elif event == "end" and tag == "c":
            fault = _fault(element)
            if fault is not None:
                lost[row][column] = CellError(fault)
        if event == "end" and tag in ("c", "row"):
            element.clear()
    return lost


def _fault(cell: Element) -> str | None:
    texts = {local_name(part.tag): part.text or "" for part in cell}
    if cell.get("t") == "e":
        return f"an error of the spreadsheet, {texts.get('v', '')}; correct its formula"
    if "f" in texts and not texts.get("v") and cell.get("t") != "str":
        return "a formula without a stored value; open and save the workbook, or paste values"
    return None
