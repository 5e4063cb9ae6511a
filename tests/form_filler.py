"""Fill in cells of a workbook as a spreadsheet program would: the file's own XML, styles kept."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Mapping
from datetime import date, datetime, time
from pathlib import Path
from xml.etree import ElementTree as ET

from python_calamine import CalamineWorkbook

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
DAY_ZERO = datetime(1899, 12, 30)  # noqa: DTZ001  # a spreadsheet knows no zone

LOST = object()


def fill(path: Path, answers: Mapping[tuple[str, int], object], *, sheet: int = 1) -> Path:
    """Write answers into a form by the key of their row and the number of the blank in it.

    Days, times, numbers and texts become native cells; None empties a cell, `LOST` makes a
    formula that was never computed. The number of a sheet counts from 0, the cover is 0.
    """
    cells = {_address(path, sheet, key, blank): value for (key, blank), value in answers.items()}
    return set_cells(path, cells, sheet=sheet)


def set_cells(path: Path, cells: Mapping[str, object], *, sheet: int = 1) -> Path:
    """Write values into cells named as A1."""
    part = f"xl/worksheets/sheet{sheet + 1}.xml"
    with zipfile.ZipFile(path) as book:
        files = {name: book.read(name) for name in book.namelist()}
    ET.register_namespace("", MAIN)
    tree = ET.fromstring(files[part])
    for address, value in cells.items():
        _set(tree, address, value)
    files[part] = ET.tostring(tree, encoding="UTF-8", xml_declaration=True)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as book:
        for name, content in files.items():
            book.writestr(name, content)
    return path


def address_of(path: Path, key: str, blank: int = 1, *, sheet: int = 1) -> str:
    """Give the address of a blank, such as C7."""
    return _address(path, sheet, key, blank)


def _address(path: Path, sheet: int, key: str, blank: int) -> str:
    rows = CalamineWorkbook.from_path(str(path)).get_sheet_by_index(sheet)
    for number, row in enumerate(rows.to_python(skip_empty_area=False), start=1):
        if row[0] in (f"visit|{key}", f"gauge|{key}"):
            return f"{chr(ord('B') + blank)}{number}"
    raise KeyError(key)


def _set(tree: ET.Element, address: str, value: object) -> None:
    row_number = re.sub(r"[A-Z]", "", address)
    row = tree.find(f".//{{{MAIN}}}row[@r='{row_number}']")
    if row is None:
        raise KeyError(address)
    cell = row.find(f"{{{MAIN}}}c[@r='{address}']")
    if cell is None:
        cell = ET.SubElement(row, f"{{{MAIN}}}c", {"r": address})
    for child in list(cell):
        cell.remove(child)
    cell.attrib.pop("t", None)
    if value is None:
        return
    if value is LOST:
        ET.SubElement(cell, f"{{{MAIN}}}f").text = "1/0"
        return
    if isinstance(value, bool | str):
        _set_text(cell, value)
    else:
        ET.SubElement(cell, f"{{{MAIN}}}v").text = repr(_number(value))


def _set_text(cell: ET.Element, value: bool | str) -> None:
    if isinstance(value, bool):
        cell.set("t", "b")
        ET.SubElement(cell, f"{{{MAIN}}}v").text = str(int(value))
        return
    cell.set("t", "inlineStr")
    text = ET.SubElement(ET.SubElement(cell, f"{{{MAIN}}}is"), f"{{{MAIN}}}t")
    text.set("{http://www.w3.org/XML/1998/namespace}space", "preserve")
    text.text = value


def _number(value: object) -> float | int:
    if isinstance(value, int | float):
        return value
    if isinstance(value, time):
        return (value.hour * 60 + value.minute) / 1440
    if isinstance(value, datetime):
        return (value - DAY_ZERO).total_seconds() / 86400
    if isinstance(value, date):
        return (datetime.combine(value, time(0)) - DAY_ZERO).days
    raise TypeError(type(value))
