"""A round's week on one page in landscape, for the wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from fleet.domain.sheet import RouteSheet
from fleet.reports.plain_sheet import plain_sheet
from fleet.reports.route_files import file_stem, write_whole
from fleet.reports.route_pdf import broken
from fleet.reports.typeset import Paper, typeset_pdf
from fleet.reports.wall_words import wall_words

LAYOUT = "wall.typ"


def wall_pdf(
    sheets: Sequence[RouteSheet], *, paper: Paper, font_dirs: Sequence[Path] = ()
) -> bytes:
    """Set a round's week for the wall: technicians by days, in black and white.

    Parameters
    ----------
    sheets : sequence of RouteSheet
        Every crew's sheet of one version; at least one.
    paper : "a4" or "letter"
        Landscape.
    font_dirs : sequence of Path
        Folders with fonts for further scripts.

    Returns
    -------
    bytes
        A PDF of one page as long as the week fits in letters of 5.5 points, the largest that
        fit up to 13; a bigger week runs on. The same for the same sheets.
    """
    words = wall_words([plain_sheet(sheet) for sheet in sheets])
    data = {
        "paper": {"a4": "a4", "letter": "us-letter"}[paper],
        "words": broken(asdict(words)),
    }
    return typeset_pdf(LAYOUT, data, made_at=sheets[0].made_at, font_dirs=font_dirs)


def write_wall(
    sheets: Sequence[RouteSheet], folder: Path, *, paper: Paper, font_dirs: Sequence[Path] = ()
) -> tuple[Path, ...]:
    """Write the week for the wall as ``<round>_week.pdf``.

    Returns
    -------
    tuple of Path
        The one file; none where nobody has a day.

    Raises
    ------
    FleetError
        The folder cannot be written to.
    """
    if not any(sheet.days for sheet in sheets):
        return ()
    content = wall_pdf(sheets, paper=paper, font_dirs=font_dirs)
    return write_whole(folder, {f"{file_stem(sheets[0].round_ref)}_week.pdf": content})
