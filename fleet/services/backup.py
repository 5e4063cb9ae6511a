"""Back a database up while it is in use, verified before anybody relies on it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Engine, text
from sqlalchemy.orm import Session

from fleet.errors import ConflictError
from fleet.services.verify import Verification, verify_records, verify_session
from fleet.settings import Settings
from fleet.store.migrate import place_of, require_head, sqlite_path
from fleet.store.postgresql_copy import dump
from fleet.store.session import engine_on, make_sessions
from fleet.store.snapshot import reading
from fleet.store.sqlite_copy import copy_whole, draft_beside, put_in_place, settle_file


@dataclass(frozen=True, slots=True)
class Backup:
    """A backup that was made, or with a dry run would have been."""

    source: str
    path: Path
    verification: Verification
    dry_run: bool


def back_up(
    settings: Settings, path: Path, *, overwrite: bool = False, dry_run: bool = False
) -> Backup:
    """Write one moment of the database into a file, whole or not at all.

    Parameters
    ----------
    settings : Settings
        Name the database; others may go on reading and writing.
    path : Path
        The file to write; its folder must be there.
    overwrite : bool
        Whether a file that is there may be replaced.
    dry_run : bool
        Make and verify the copy, then leave nothing.

    Returns
    -------
    Backup
        With what verifying the copy found. A copy with faults is kept: it may be the best there
        is, and what to do about them is not for a copy to decide.

    Raises
    ------
    SchemaVersionError
        The database is missing or not at the newest revision.
    ConflictError
        The file is there already, cannot be written, or the server's programs refuse.

    Notes
    -----
    SQLite: SQLite's online backup, one step under one snapshot. PostgreSQL: pg_dump on the very
    snapshot that was verified.
    """
    with engine_on(settings.database_url) as engine, draft_beside(path) as draft:
        require_head(engine)
        require_free(path, overwrite=overwrite, source=sqlite_path(engine))
        found = _copy_sqlite(engine, draft) if sqlite_path(engine) else _dump(engine, draft)
        if not dry_run:
            put_in_place(draft, path)
        return Backup(place_of(engine), path, found, dry_run)


def require_free(path: Path, *, overwrite: bool, source: Path | None) -> None:
    """Refuse a place that is taken, has no folder, or is what is to be copied."""
    if not path.absolute().parent.is_dir():
        raise ConflictError(f"There is no folder {path.absolute().parent}; make it first.")
    if source is not None and path.exists() and path.samefile(source):
        raise ConflictError(f"{path} is the database itself.")
    if path.is_dir() or (path.exists() and not overwrite):
        raise ConflictError(f"{path} is there already and was left as it is; see --overwrite.")


def _copy_sqlite(engine: Engine, draft: Path) -> Verification:
    copy_whole(Path(str(engine.url.database)), draft)
    with engine_on(f"sqlite:///{draft}") as copy:
        found = verify_records(make_sessions(copy))
    settle_file(draft)
    return found


def _dump(engine: Engine, draft: Path) -> Verification:
    with reading(make_sessions(engine)) as session:
        snapshot = _export(session)
        found = verify_session(session)
        dump(engine, draft, snapshot=snapshot)
    return found


def _export(session: Session) -> str:
    return str(session.execute(text("SELECT pg_export_snapshot()")).scalar_one())
