"""A drawing written to a file: SVG as it is, PNG and PDF by the typesetter."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree as ET

from fleet.errors import FleetError
from fleet.reports.table import write_whole
from fleet.reports.typeset import typeset_pdf, typeset_pictures

SUFFIXES = (".svg", ".png", ".pdf")
DOTS_PER_INCH = 150
MADE_AT = datetime(2000, 1, 1, tzinfo=UTC)
"""Stands in every PDF for the instant of its making, so that the same drawing is the same bytes."""

Size = tuple[float, float]
"""Width and height in mm."""


def write_drawing(path: Path, drawing: ET.Element, *, title: str, size_mm: Size) -> None:
    """Write a drawing as the file's ending says, whole or not at all.

    Parameters
    ----------
    path : Path
        Ends in .svg, .png or .pdf; replaced when it exists.
    drawing : xml.etree.ElementTree.Element
        An ``svg`` element.
    title : str
        What it shows, for those who cannot see it.
    size_mm : tuple of float
        Width and height on paper.

    Raises
    ------
    FleetError
        Any other ending.
    """
    require_suffix(path)
    svg = ET.tostring(drawing, encoding="unicode")
    data = {"svg": svg, "title": title, "width_mm": size_mm[0], "height_mm": size_mm[1]}
    if path.suffix.lower() == ".svg":
        write_whole(path, (svg + "\n").encode())
    elif path.suffix.lower() == ".png":
        pages = typeset_pictures("picture.typ", data, dots_per_inch=DOTS_PER_INCH)
        write_whole(path, pages[0])
    else:
        write_whole(path, typeset_pdf("picture.typ", data, made_at=MADE_AT))


def require_suffix(path: Path) -> None:
    """Refuse a file whose ending names no form of drawing; to be asked before long work."""
    if path.suffix.lower() not in SUFFIXES:
        raise FleetError(f"{path}: a plot ends in {', '.join(SUFFIXES[:-1])} or {SUFFIXES[-1]}.")
