"""Write a crew's route sheet in every format, all files or none."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory

from fleet.domain.sheet import RouteSheet
from fleet.errors import FleetError
from fleet.reports.placing import check_positions
from fleet.reports.route_calendar import route_calendar
from fleet.reports.route_geojson import route_geojson
from fleet.reports.route_gpx import route_gpx
from fleet.reports.route_html import route_html
from fleet.reports.route_pdf import route_pdf
from fleet.reports.typeset import Paper

LONGEST_STEM = 80
_UNSAFE = re.compile(r"[^A-Za-z0-9._-]+")
_RESERVED = re.compile(r"(?:con|prn|aux|nul|com[0-9]|lpt[0-9])(?:\..*)?", re.IGNORECASE)
"""Names that a file must not have on Windows."""


def write_route_files(
    sheet: RouteSheet, folder: Path, *, paper: Paper, font_dirs: Sequence[Path] = ()
) -> tuple[Path, ...]:
    """Write a route sheet as PDF, HTML, GPX, iCalendar and GeoJSON.

    Parameters
    ----------
    sheet : RouteSheet
        One crew's part of a round.
    folder : Path
        Where to; made if it is not there. Files of the same names are replaced.
    paper : "a4" or "letter"
        For the PDF, and for printing the HTML.
    font_dirs : sequence of Path
        Folders with fonts for scripts beyond Latin, Greek, Cyrillic, Arabic, Devanagari, Thai.

    Returns
    -------
    tuple of Path
        ``<round>-<crew>`` with .pdf, .html, .gpx, .ics and .geojson, in this order.

    Raises
    ------
    InputError
        Some position is out of range.
    FleetError
        The folder cannot be written to.

    Warns
    -----
    FleetWarning
        Some characters have no glyph in the fonts at hand.

    Notes
    -----
    All is computed before anything is written; each file appears whole.
    """
    check_positions(sheet)
    contents = {
        ".pdf": route_pdf(sheet, paper=paper, font_dirs=font_dirs),
        ".html": route_html(sheet, paper=paper),
        ".gpx": route_gpx(sheet),
        ".ics": route_calendar(sheet),
        ".geojson": route_geojson(sheet),
    }
    stem = file_stem(sheet.round_ref, sheet.crew_code)
    return write_whole(folder, {f"{stem}{ending}": text for ending, text in contents.items()})


def file_stem(*codes: str) -> str:
    """Join codes to a file name that every system takes.

    Parameters
    ----------
    *codes : str
        Any texts.

    Returns
    -------
    str
        ASCII letters, digits, dots, underscores and hyphens, at most 80 characters. Where that
        is not the plain join of the codes, six hexadecimal digits of its SHA-256 keep different
        codes apart.

    Examples
    --------
    >>> file_stem("2025-W10", "T01"), file_stem("north/2025-W10", "T01")
    ('2025-W10-T01', 'north-2025-W10-T01-bbf26e')
    """
    joined = "-".join(codes)
    safe = _UNSAFE.sub("-", joined).strip(".-")[:LONGEST_STEM]
    if safe == joined and not _RESERVED.fullmatch(safe):
        return safe
    digest = sha256(joined.encode("utf-8", "surrogatepass")).hexdigest()[:6]
    return f"{safe[: LONGEST_STEM - 7] or 'round'}-{digest}"


def write_whole(folder: Path, contents: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write files into a folder, all or none: each beside its place first, then moved there.

    Raises
    ------
    FleetError
        The folder cannot be written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(dir=folder, prefix=".route-") as draft:
            for name, content in contents.items():
                (Path(draft) / name).write_bytes(content)
            for name in contents:
                os.replace(Path(draft) / name, folder / name)
    except OSError as error:
        raise FleetError(
            f"Cannot write the route sheet to {folder}: {error.strerror or error}. "
            "Choose a folder that can be written to, or close the file in other programs."
        ) from error
    return tuple(folder / name for name in contents)
