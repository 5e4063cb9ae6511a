"""Runs the revisions on the engine that the caller hands over."""

from __future__ import annotations

from alembic import context
from sqlalchemy import Connection, Engine

from fleet.errors import SchemaVersionError
from fleet.settings import read_settings
from fleet.store.models.all import METADATA
from fleet.store.session import WRITES, make_engine


def _engine() -> Engine:
    engine = context.config.attributes.get("engine")
    return engine or make_engine(read_settings(None, None).database_url)


def _migrate(connection: Connection, *, batch: bool) -> None:
    context.configure(
        connection=connection,
        target_metadata=METADATA,
        render_as_batch=batch,
        transactional_ddl=True,  # on SQLite too: a failure takes every revision back
    )
    with context.begin_transaction():
        context.run_migrations()
        if batch:
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise SchemaVersionError(
                    f"{len(broken)} reference(s) point to rows that are not there, nothing was "
                    f"changed: {broken[:5]}"
                )


def run() -> None:
    """Run the revisions; on SQLite with foreign keys off, then checked.

    A batch change with foreign keys on would silently delete cascading children.
    """
    engine = _engine()
    with engine.connect().execution_options(**{WRITES: True}) as connection:
        if engine.dialect.name != "sqlite":
            _migrate(connection, batch=False)
            return
        driver = connection.connection.driver_connection
        driver.execute("PRAGMA foreign_keys=OFF")
        try:
            _migrate(connection, batch=True)
        finally:
            driver.execute("PRAGMA foreign_keys=ON")


run()
