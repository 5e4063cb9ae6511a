"""Bring a database to the newest revision, or say that it is not there."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine
from sqlalchemy.exc import DatabaseError

from fleet.errors import SchemaVersionError


def migrations_folder() -> Path:
    """Find the migrations: inside an installed package, else beside the source tree."""
    package = Path(str(files("fleet")))
    for folder in (package / "migrations", package.parent / "migrations"):
        if (folder / "env.py").is_file():
            return folder
    raise SchemaVersionError(
        f"The migrations were not found in or beside {package}. Install the package again."
    )


def upgrade(engine: Engine, revision: str = "head") -> None:
    """Create or bring forward the database behind an engine, whole or not at all.

    Parameters
    ----------
    engine : Engine
        From `fleet.store.session.make_engine`.
    revision : str
        The revision to reach.

    Raises
    ------
    SchemaVersionError
        The database was made by a newer version, or it refuses.
    """
    _require_known(current_revision(engine))
    try:
        command.upgrade(_config(engine), revision)
    except DatabaseError as error:
        raise SchemaVersionError(
            f"{place_of(engine)} could not be brought forward, nothing was changed: {error.orig}"
        ) from error


def downgrade(engine: Engine, revision: str) -> None:
    """Take the database back to an older revision; whether rows are lost is told there."""
    command.downgrade(_config(engine), revision)


def require_head(engine: Engine) -> None:
    """Refuse to work on a database that is missing or not at the newest revision.

    Raises
    ------
    SchemaVersionError
        With the command that mends it.
    """
    path = sqlite_path(engine)
    if path is not None and not path.is_file():
        raise SchemaVersionError(
            f"There is no database at {path}. Make one with: fleet database create"
        )
    found = current_revision(engine)
    _require_known(found)
    wanted = newest_revision()
    if found != wanted:
        raise SchemaVersionError(
            f"The database is at revision {found or 'none'}, this version needs {wanted}. "
            "Bring it forward with: fleet database upgrade"
        )


def current_revision(engine: Engine) -> str | None:
    """Give the revision of the database, None when it was never created.

    Raises
    ------
    SchemaVersionError
        There is something else, or nobody answers.
    """
    try:
        with engine.connect() as connection:
            return MigrationContext.configure(connection).get_current_revision()
    except DatabaseError as error:
        raise SchemaVersionError(
            f"{place_of(engine)} cannot be opened as a database: {error.orig}"
        ) from error


def newest_revision() -> str | None:
    """Give the revision that this version works with."""
    return _scripts().get_current_head()


def sqlite_path(engine: Engine) -> Path | None:
    """Give the file of an SQLite database, None for any other."""
    database = engine.url.database
    if engine.dialect.name != "sqlite" or not database or database == ":memory:":
        return None
    return Path(database)


def place_of(engine: Engine) -> str:
    """Name the place of a database as a person would, without its password."""
    path = sqlite_path(engine)
    return str(path) if path is not None else engine.url.render_as_string(hide_password=True)


def _require_known(revision: str | None) -> None:
    if revision is not None and revision not in {s.revision for s in _scripts().walk_revisions()}:
        raise SchemaVersionError(
            f"The database is at revision {revision}, which this version does not know: it was "
            "made by a newer fleet. Install that version or a later one."
        )


def _scripts() -> ScriptDirectory:
    return ScriptDirectory(str(migrations_folder()))


def _config(engine: Engine) -> Config:
    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    config.attributes["engine"] = engine
    return config
