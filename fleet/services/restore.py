"""Bring a backup back: verified first, into a new place, never over anything without being told."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Engine, inspect

from fleet.errors import ConflictError, SchemaVersionError
from fleet.services.backup import require_free
from fleet.services.checkpoint_file import Checkpoint
from fleet.services.verify import Verification, verify_records
from fleet.settings import Settings
from fleet.store.migrate import current_revision, newest_revision, place_of, sqlite_path, upgrade
from fleet.store.postgresql_copy import is_dump_file, load_dump, require_readable
from fleet.store.session import engine_on, make_sessions
from fleet.store.sqlite_copy import (
    copy_whole,
    draft_beside,
    is_sqlite_file,
    put_in_place,
    settle_file,
)


@dataclass(frozen=True, slots=True)
class Restored:
    """A backup that was brought back.

    ``written`` tells whether it stands in its place: not after a dry run, and not where verifying
    an SQLite backup found faults. ``verification`` is None where it could not be verified yet: a
    dump before it is loaded, or one of an older revision.
    """

    place: str
    revision: str
    verification: Verification | None
    written: bool


def restore(
    settings: Settings,
    path: Path,
    *,
    overwrite: bool = False,
    dry_run: bool = False,
    against: Checkpoint | None = None,
) -> Restored:
    """Bring a backup back into the database that the settings name.

    Parameters
    ----------
    settings : Settings
        Name a place without a database yet: a path, or an empty PostgreSQL database.
    path : Path
        From `fleet.services.backup.back_up`, of the same kind of database.
    overwrite : bool
        Whether the records that are there may be replaced.
    dry_run : bool
        Verify, and leave all as it is.
    against : Checkpoint, optional
        Taken when the backup was made, or before.

    Raises
    ------
    ConflictError
        There are records already, they are in use, or the backup is of another kind or damaged.
    SchemaVersionError
        The backup was made by a newer version.
    """
    with engine_on(settings.database_url) as engine:
        target = sqlite_path(engine)
        _require_kind(path, sqlite=target is not None)
        if target is None:
            how = {"overwrite": overwrite, "dry_run": dry_run}
            return _restore_dump(engine, path, against=against, **how)
    require_free(target, overwrite=overwrite, source=path)
    with draft_beside(target) as draft:
        copy_whole(path, draft)
        revision, found = _verify_copy(draft, against)
        written = not dry_run and not found.faults
        if written and target.exists():
            copy_whole(draft, target)
        elif written:
            put_in_place(draft, target)
    return Restored(str(target), revision, found, written)


def _require_kind(path: Path, *, sqlite: bool) -> None:
    kinds = {True: "an SQLite database", False: "a PostgreSQL dump (pg_dump, custom format)"}
    try:
        fits = is_sqlite_file(path) if sqlite else is_dump_file(path)
    except OSError as error:
        raise ConflictError(f"{path} cannot be read: {error.strerror}.") from error
    if not fits:
        raise ConflictError(
            f"{path} is not {kinds[sqlite]}, which the database named by --db needs. "
            "A backup is restored into the kind of database that it was made of."
        )


def _verify_copy(draft: Path, against: Checkpoint | None) -> tuple[str, Verification]:
    """Verify a copy; one of an older revision by a copy of itself that is brought forward."""
    with engine_on(f"sqlite:///{draft}") as engine:
        revision = _revision(engine)
    settle_file(draft)
    if revision == newest_revision():
        return revision, _verify(draft, against)
    with draft_beside(draft) as newer:
        copy_whole(draft, newer)
        with engine_on(f"sqlite:///{newer}") as forward:
            upgrade(forward)
        return revision, _verify(newer, against)


def _verify(path: Path, against: Checkpoint | None) -> Verification:
    with engine_on(f"sqlite:///{path}") as engine:
        found = verify_records(make_sessions(engine), against=against)
    settle_file(path)
    return found


def _restore_dump(
    engine: Engine, path: Path, *, overwrite: bool, dry_run: bool, against: Checkpoint | None
) -> Restored:
    if inspect(engine).get_table_names() and not overwrite:
        raise ConflictError(
            f"{place_of(engine)} holds tables already and was left as it is. Make an empty "
            "database (createdb) and name it with --db, or see --overwrite."
        )
    require_readable(engine, path)
    if dry_run:
        return Restored(place_of(engine), "not known before it is loaded", None, written=False)
    load_dump(engine, path, replace=overwrite)
    revision = _revision(engine)
    if revision != newest_revision():
        return Restored(place_of(engine), revision, None, written=True)
    found = verify_records(make_sessions(engine), against=against)
    return Restored(place_of(engine), revision, found, written=True)


def _revision(engine: Engine) -> str:
    revision = current_revision(engine)
    if revision is None:
        raise SchemaVersionError("The backup holds no database of this tool; nothing was changed.")
    return revision
