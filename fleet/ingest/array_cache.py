"""Arrays that are costly to make, kept on disk under the hash of all that they follow from."""

from __future__ import annotations

import os
import warnings
from collections.abc import Mapping, Sequence
from hashlib import file_digest, sha256
from pathlib import Path
from tempfile import NamedTemporaryFile
from zipfile import BadZipFile

import numpy as np
from numpy.typing import NDArray

from fleet.errors import FleetWarning

Arrays = Mapping[str, NDArray[np.generic]]

MOST_FILES = 60
"""Files that a cache folder keeps; the ones used longest ago go first."""

ENDING = ".npz"


def content_hash(path: Path) -> str:
    """Give the SHA-256 of a file's bytes, hexadecimal."""
    with path.open("rb") as stream:
        return file_digest(stream, "sha256").hexdigest()


def cached_arrays(folder: Path, parts: Sequence[object]) -> Arrays | None:
    """Give what was kept for some parts.

    Parameters
    ----------
    folder : Path
        The cache; it need not exist.
    parts : sequence
        Everything that the arrays follow from; their texts make the key.

    Returns
    -------
    mapping of str to ndarray, or None
        None where nothing is kept, or what is kept cannot be read any more.
    """
    path = _path(folder, parts)
    try:
        with path.open("rb") as stream, np.load(stream, allow_pickle=False) as kept:
            arrays = {name: kept[name] for name in kept.files}
        os.utime(path)
    except (OSError, ValueError, EOFError, KeyError, BadZipFile):
        return None
    return arrays


def keep_arrays(folder: Path, parts: Sequence[object], arrays: Arrays) -> None:
    """Keep arrays for some parts; the file appears whole.

    Warns
    -----
    FleetWarning
        The folder cannot be written to; the next run computes again.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with NamedTemporaryFile(dir=folder, suffix=".part", delete=False) as draft:
            np.savez(draft, allow_pickle=False, **arrays)
        os.replace(draft.name, _path(folder, parts))
        _prune(folder)
    except OSError as error:
        warnings.warn(
            f"Travel times cannot be kept in {folder} ({error.strerror or error}): they are "
            "computed anew each time. Name another folder with FLEET_CACHE.",
            FleetWarning,
            stacklevel=2,
        )


def _path(folder: Path, parts: Sequence[object]) -> Path:
    key = sha256("\n".join(repr(part) for part in parts).encode()).hexdigest()
    return folder / f"{key[:40]}{ENDING}"


def _prune(folder: Path) -> None:
    files = sorted(folder.glob(f"*{ENDING}"), key=lambda path: path.stat().st_mtime)
    for path in files[: max(0, len(files) - MOST_FILES)]:
        path.unlink(missing_ok=True)
