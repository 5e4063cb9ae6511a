"""Empty input files to fill in."""

from __future__ import annotations

from pathlib import Path

from fleet.errors import ConflictError
from fleet.ingest.describe import empty_tables
from fleet.reports.table import write_whole


def write_templates(folder: Path) -> tuple[Path, ...]:
    """Write a CSV file with the header row alone for each input table.

    Parameters
    ----------
    folder : Path
        Made when missing.

    Returns
    -------
    tuple of Path
        The files, in the order in which references come first.

    Raises
    ------
    ConflictError
        One of the files is there already; none is written.
    """
    files = {folder / name: text for name, text in empty_tables().items()}
    there = [path.name for path in files if path.exists()]
    if there:
        raise ConflictError(
            f"{folder} holds {', '.join(there)} already; nothing was written. Name another folder."
        )
    for path, text in files.items():
        write_whole(path, text.encode("utf-8"))
    return tuple(files)
