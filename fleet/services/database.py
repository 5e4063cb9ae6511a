"""Open, create and bring forward the database."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import inspect
from sqlalchemy.orm import Session, sessionmaker

from fleet.errors import ConflictError
from fleet.settings import Settings
from fleet.store.migrate import (
    current_revision,
    newest_revision,
    place_of,
    require_head,
    sqlite_path,
    upgrade,
)
from fleet.store.queries.ledger import last_entry
from fleet.store.session import engine_on, make_engine, make_sessions


def open_database(settings: Settings) -> sessionmaker[Session]:
    """Open a database that is at the newest revision.

    Raises
    ------
    SchemaVersionError
        The database is missing or older; the message says what to run.
    """
    engine = make_engine(settings.database_url)
    try:
        require_head(engine)
    except BaseException:
        engine.dispose()
        raise
    return make_sessions(engine)


def create_database(settings: Settings) -> str:
    """Create an empty database and give its place.

    Raises
    ------
    ConflictError
        There is one already, or something else: it is left as it is.
    """
    with engine_on(settings.database_url) as engine:
        path = sqlite_path(engine)
        if path is None:
            taken = current_revision(engine) is not None
        else:
            taken = path.is_dir() or (path.is_file() and path.stat().st_size > 0)
            _make_folder(path.parent)
        if taken:
            raise ConflictError(
                f"{place_of(engine)} exists already and was left as it is. "
                "Name another place with --db, or bring it forward with: fleet database upgrade"
            )
        upgrade(engine)
        return place_of(engine)


def open_or_create(settings: Settings) -> sessionmaker[Session]:
    """Open a database, making it first where there is none."""
    path = sqlite_path(make_engine(settings.database_url))
    if path is not None and not path.is_file():
        create_database(settings)
    return open_database(settings)


def upgrade_database(settings: Settings) -> tuple[str | None, str | None]:
    """Bring a database to the newest revision; give the revision before and after.

    Raises
    ------
    SchemaVersionError
        It is missing, cannot be opened, or was made by a newer version.
    ConflictError
        It holds the tables of something else.
    """
    with engine_on(settings.database_url) as engine:
        path = sqlite_path(engine)
        if path is not None and not path.is_file():
            require_head(engine)
        before = current_revision(engine)
        if before is None and inspect(engine).get_table_names():
            raise ConflictError(
                f"{place_of(engine)} holds tables that are not of this tool and was left as it is."
            )
        upgrade(engine)
        return before, current_revision(engine)


@dataclass(frozen=True, slots=True)
class DatabaseStatus:
    """Where a database is, at which revision, and how far its ledger goes."""

    place: str
    revision: str | None
    entries: int
    last_hash: str


def database_status(settings: Settings) -> DatabaseStatus:
    """Look at a database at head.

    Raises
    ------
    SchemaVersionError
        It is missing or not at the newest revision; the message says what to run.
    """
    with engine_on(settings.database_url) as engine:
        require_head(engine)
        with make_sessions(engine)() as session:
            entries, last_hash = last_entry(session) or (0, "")
        return DatabaseStatus(place_of(engine), newest_revision(), entries, last_hash)


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ConflictError(f"The folder {folder} cannot be made: {error.strerror}") from error
