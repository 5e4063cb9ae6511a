"""Copy an SQLite database as a whole while others use it (SQLite's own online backup)."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from fleet.errors import ConflictError
from fleet.store.session import BUSY_TIMEOUT_MS

_MARK = b"SQLite format 3\0"
"""First bytes of every SQLite database (its file format, section 1.3)."""


def is_sqlite_file(path: Path) -> bool:
    """Tell whether a file begins as every SQLite database does."""
    with path.open("rb") as file:
        return file.read(len(_MARK)) == _MARK


@contextmanager
def draft_beside(path: Path) -> Iterator[Path]:
    """Give the name of a file beside a place, gone again at the end unless it was moved."""
    draft = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        yield draft
    finally:
        for name in (draft.name, f"{draft.name}-journal", f"{draft.name}-wal", f"{draft.name}-shm"):
            draft.with_name(name).unlink(missing_ok=True)


def copy_whole(source: Path, target: Path) -> None:
    """Copy one moment of a database into a file, all of it or nothing.

    Parameters
    ----------
    source : Path
        A database; others may go on reading and writing.
    target : Path
        A new file, or a database that nobody is using: what it held is replaced in one
        transaction.

    Raises
    ------
    ConflictError
        The source is no database or is damaged, the target is in use, or the disk is full.
    """
    seconds = BUSY_TIMEOUT_MS / 1000
    try:
        reader = sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True, timeout=seconds)
        with closing(reader), closing(sqlite3.connect(target, timeout=seconds)) as writer:
            reader.backup(writer, progress=_Patience(seconds), sleep=0.05)
    except sqlite3.Error as error:
        raise ConflictError(f"{source} could not be copied to {target}: {error}.") from error


def settle_file(path: Path) -> None:
    """Put a database that nobody uses into its one file, ready to be moved."""
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode=DELETE")


class _Patience:
    """Ends a copy that has waited too long: the library itself would wait for ever."""

    def __init__(self, seconds: float) -> None:
        self._until = time.monotonic() + seconds

    def __call__(self, status: int, remaining: int, total: int) -> None:
        waits = status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
        if waits and time.monotonic() > self._until:
            raise sqlite3.OperationalError("database is locked, somebody else is using it")


def put_in_place(draft: Path, target: Path) -> None:
    """Move a finished file to its place so that it survives a loss of power."""
    with draft.open("rb") as file:
        os.fsync(file.fileno())
    draft.replace(target)
    folder = os.open(target.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
