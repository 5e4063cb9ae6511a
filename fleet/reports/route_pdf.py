"""A route sheet as a PDF for paper: cover, a page a day with its map, a job card a gauge."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from xml.etree import ElementTree as ET

from fleet.domain.sheet import RouteSheet
from fleet.reports.plain_sheet import plain_sheet
from fleet.reports.qr import qr_code
from fleet.reports.route_map import day_map
from fleet.reports.route_words import route_words
from fleet.reports.typeset import Paper, typeset_pdf
from fleet.reports.wording import breakable

LAYOUT = "route.typ"
MAP_MM = (188.0, 128.0)
"""Width and height of a day's map; the width between the margins of A4."""


def route_pdf(sheet: RouteSheet, *, paper: Paper, font_dirs: Sequence[Path] = ()) -> bytes:
    """Set a route sheet for printing in black and white.

    Parameters
    ----------
    sheet : RouteSheet
        Positions must be within range (`check_positions`).
    paper : "a4" or "letter"
        Portrait.
    font_dirs : sequence of Path
        Folders with fonts for scripts beyond Latin, Greek, Cyrillic, Arabic, Devanagari, Thai.

    Returns
    -------
    bytes
        A PDF, the same for the same sheet; its date is the sheet's own.
    """
    data = layout_data(sheet, paper=paper)
    return typeset_pdf(LAYOUT, data, made_at=sheet.made_at, font_dirs=font_dirs)


def layout_data(sheet: RouteSheet, *, paper: Paper) -> Mapping[str, object]:
    """Give what the layout reads: the words of the sheet, its maps and its codes."""
    sheet = plain_sheet(sheet)
    words = route_words(sheet)
    width, height = MAP_MM
    maps = [day_map(day, sheet.map_lines, width_mm=width, height_mm=height) for day in sheet.days]
    keys = {card.gauge_key for day in words.days for card in day.cards}
    return {
        "paper": {"a4": "a4", "letter": "us-letter"}[paper],
        "words": broken(asdict(words)),
        "maps": [_svg(drawing) for drawing in maps],
        "codes": {key: _svg(qr_code(key)) for key in sorted(keys)},
    }


def _svg(drawing: ET.Element) -> str:
    return ET.tostring(drawing, encoding="unicode")


def broken(value: object) -> object:
    """Let every long word of a nested value break, keys and codes left alone."""
    if isinstance(value, str):
        return breakable(value)
    if isinstance(value, dict):
        return {
            name: inner if name == "gauge_key" else broken(inner) for name, inner in value.items()
        }
    if isinstance(value, list | tuple):
        return [broken(inner) for inner in value]
    return value
