"""A first look into a packed workbook, before its sheets are laid out in memory.

Readers lay a sheet out as a full rectangle, so one stray cell far outside a table can take all
memory; and they give error cells and formulas never computed as empty.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from posixpath import join, normpath
from typing import IO
from xml.etree.ElementTree import Element, iterparse
from zipfile import ZipFile

_ERROR_OR_FORMULA = re.compile(rb"""\bt=["']e["']|<(?:[A-Za-z0-9_]+:)?f[\s/>]""")
_ROW = re.compile(rb"""<(?:[A-Za-z0-9_]+:)?row\s[^>]*?\br=["']([0-9]{1,99})["']""")
_FAR_ROW = re.compile(rb"""\br=["'][A-Za-z]{1,99}([0-9]{4,99})["']""")
_FAR_CELL = re.compile(rb"""\br=["']([A-Za-z]{2,99})[0-9]{0,99}["']""")
_REFERENCE = re.compile(r"([A-Z]{1,3})([0-9]{1,9})")
_COUNT = re.compile(rb"""\b(?:c|uniqueC)ount=["']([0-9]{1,99})["']""")
_CHUNK = 1 << 20
_OVERLAP = 256
"""Bytes looked at again with the next chunk: longer than the tags that are looked for."""

_SHEET_FOLDER = "xl"
_LETTERS = 26


@dataclass(frozen=True, slots=True)
class SheetScan:
    """What a first look at a sheet shows.

    ``columns`` is at least 26. ``has_lost_cells`` tells that it may have cells whose values
    are not stored; a closer look must tell which.
    """

    rows: int
    columns: int
    has_lost_cells: bool

    @property
    def cells(self) -> int:
        """Give the size of the rectangle that holds every cell."""
        return self.rows * self.columns


def scan_sheet(stream: IO[bytes]) -> SheetScan:
    """Look through the XML of a sheet without parsing it.

    Parameters
    ----------
    stream : binary stream
        A worksheet part (ECMA-376 part 1, 18.3).

    Returns
    -------
    SheetScan
        Extent and suspicion.
    """
    rows, columns, lost, tail = 0, _LETTERS, False, b""
    while chunk := stream.read(_CHUNK):
        seen = tail + chunk
        rows = max(rows, *map(int, _ROW.findall(seen)), *map(int, set(_FAR_ROW.findall(seen))), 0)
        far = {column_number(letters.decode()) for letters in set(_FAR_CELL.findall(seen))}
        columns = max(columns, *far, 0)
        lost = lost or _ERROR_OR_FORMULA.search(seen) is not None
        tail = seen[-_OVERLAP:]
    return SheetScan(rows, columns, lost)


def false_count(packed: ZipFile) -> str | None:
    """Find a part that says it has more entries than its size can hold.

    A reader makes room for as many entries as are announced, so that a false count can take all
    memory and end the program.

    Returns
    -------
    str or None
        Part and count in words; None where every count can be true.
    """
    for info in packed.infolist():
        if not info.filename.endswith(".xml"):
            continue
        with packed.open(info) as stream:
            head = stream.read(_CHUNK)
        for digits in set(_COUNT.findall(head)):
            if int(digits) > info.file_size:
                return f"{info.filename} announces {int(digits)} entries and is too small for them"
    return None


def sheet_parts(packed: ZipFile) -> dict[str, str]:
    """Give the part that holds each sheet, by the name that a person sees.

    Raises
    ------
    ParseError, KeyError
        The file is damaged.
    """
    targets = {
        _attribute(link, "Id"): _attribute(link, "Target")
        for link in _elements(packed, "xl/_rels/workbook.xml.rels", "Relationship")
    }
    present = set(packed.namelist())
    parts = {
        _attribute(sheet, "name"): _part(targets.get(_attribute(sheet, "id"), ""))
        for sheet in _elements(packed, "xl/workbook.xml", "sheet")
    }
    return {name: part for name, part in parts.items() if part in present}


def cell_place(reference: str) -> tuple[int, int] | None:
    """Give row and column, counted from 0, of a reference such as ``AB12``; None for no such."""
    found = _REFERENCE.fullmatch(reference)
    return None if found is None else (int(found[2]) - 1, column_number(found[1]) - 1)


def column_number(letters: str) -> int:
    """Give the number of a column named by letters; A is 1.

    Examples
    --------
    >>> column_number("A"), column_number("Z"), column_number("AA")
    (1, 26, 27)
    """
    number = 0
    for letter in letters.upper():
        number = number * _LETTERS + ord(letter) - ord("A") + 1
    return number


def local_name(name: str) -> str:
    """Give the name of an element or attribute without its namespace."""
    return name.rpartition("}")[2]


def _elements(packed: ZipFile, part: str, tag: str) -> list[Element]:
    with packed.open(part) as stream:
        return [element for _, element in iterparse(stream) if local_name(element.tag) == tag]


def _part(target: str) -> str:
    return target[1:] if target.startswith("/") else normpath(join(_SHEET_FOLDER, target))


def _attribute(element: Element, name: str) -> str:
    """Give an attribute by its local name, preferring the one with a namespace (r:id)."""
    values = {key: value for key, value in element.attrib.items() if local_name(key) == name}
    return values[max(values, key=len)] if values else ""
