"""Open, create and bring forward the database."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Engine, make_url
from sqlalchemy.orm import Session, sessionmaker

from fleet.errors import ConflictError
from fleet.settings import Settings
from fleet.store.migrate import current_revision, require_head, upgrade
from fleet.store.session import make_engine, make_sessions


def open_database(settings: Settings) -> sessionmaker[Session]:
    """Open a database that is at the newest revision.

    Raises
    ------
    SchemaVersionError
        The database is missing or older; the message says what to run.
    """
    engine = make_engine(settings.database_url)
    require_head(engine)
    return make_sessions(engine)


def create_database(settings: Settings) -> str:
    """Create an empty database and give its place.

    Raises
    ------
    ConflictError
        There is one already; it is left as it is.
    """
    engine = make_engine(settings.database_url)
    path = _sqlite_path(engine)
    if path is not None and path.is_file() and path.stat().st_size > 0:
        raise ConflictError(
            f"{path} exists already and was left as it is. "
            "Name another place with --db, or bring it forward with: fleet database upgrade"
        )
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
    upgrade(engine)
    return _place(engine)


def upgrade_database(settings: Settings) -> tuple[str | None, str | None]:
    """Bring a database to the newest revision; give the revision before and after."""
    engine = make_engine(settings.database_url)
    path = _sqlite_path(engine)
    if path is not None and not path.is_file():
        require_head(engine)
    before = current_revision(engine)
    upgrade(engine)
    return before, current_revision(engine)


def _sqlite_path(engine: Engine) -> Path | None:
    database = make_url(str(engine.url)).database
    if engine.dialect.name != "sqlite" or not database or database == ":memory:":
        return None
    return Path(database)


def _place(engine: Engine) -> str:
    path = _sqlite_path(engine)
    return str(path) if path is not None else engine.url.render_as_string(hide_password=True)
