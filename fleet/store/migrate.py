"""Bring a database to the newest revision, or say that it is not there."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, make_url
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
    """Create or bring forward the database behind an engine.

    Parameters
    ----------
    engine : Engine
        From `fleet.store.session.make_engine`.
    revision : str
        The revision to reach.
    """
    command.upgrade(_config(engine), revision)


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
    path = make_url(str(engine.url)).database
    if engine.dialect.name == "sqlite" and path and path != ":memory:" and not Path(path).is_file():
        raise SchemaVersionError(
            f"There is no database at {path}. Make one with: fleet database create"
        )
    try:
        found = current_revision(engine)
    except DatabaseError as error:
        raise SchemaVersionError(
            f"{path or engine.url.host} cannot be opened as a database: {error.orig}"
        ) from error
    wanted = ScriptDirectory(str(migrations_folder())).get_current_head()
    if found != wanted:
        raise SchemaVersionError(
            f"The database is at revision {found or 'none'}, this version needs {wanted}. "
            "Bring it forward with: fleet database upgrade"
        )


def current_revision(engine: Engine) -> str | None:
    """Give the revision of the database, None when it was never created."""
    with engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def _config(engine: Engine) -> Config:
    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    config.attributes["engine"] = engine
    return config
