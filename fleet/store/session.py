"""Engines and sessions: one way to open the database, on SQLite and PostgreSQL."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.orm import Session, sessionmaker
from sqlalchemy.pool import NullPool

from fleet.errors import SchemaVersionError
from fleet.store.closing import close_later

BUSY_TIMEOUT_MS = 5000

_CACHE_KIB = 128 << 10
"""Most that SQLite keeps of the file in memory; with its own 2 MiB a large load writes the inner
pages of the indexes again and again."""

_SQLITE_PRAGMAS = (
    "PRAGMA foreign_keys=ON",
    "PRAGMA recursive_triggers=ON",
    "PRAGMA synchronous=FULL",
    f"PRAGMA busy_timeout={BUSY_TIMEOUT_MS}",
    f"PRAGMA cache_size=-{_CACHE_KIB}",
)

WRITES = "fleet_writes"
"""Execution option of a connection that is about to write."""


def make_engine(database_url: str) -> Engine:
    """Make an engine with foreign keys enforced and whole transactions.

    Parameters
    ----------
    database_url : str
        SQLAlchemy URL. Nothing is opened until it is used.

    Returns
    -------
    Engine
        Without a pool: a connection is closed with its session, so that nothing is left open
        when a command ends (a database in memory lives as long as its one connection). On
        SQLite: write-ahead log, full synchronisation, triggers that replacing cannot get round,
        and a write lock taken at the start of a writing transaction.

    Raises
    ------
    SchemaVersionError
        The URL names no database, or its driver is not installed.
    """
    engine = _create_engine(database_url)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        event.listen(engine, "checkin", _end_sqlite)
    close_later(engine.dispose)
    return engine


@contextmanager
def engine_on(database_url: str) -> Iterator[Engine]:
    """Give an engine as `make_engine` does and close it at the end."""
    engine = make_engine(database_url)
    try:
        yield engine
    finally:
        engine.dispose()


def _create_engine(database_url: str) -> Engine:
    try:
        in_memory = make_url(database_url).database in (None, "", ":memory:")
        return create_engine(database_url, poolclass=None if in_memory else NullPool)
    except ArgumentError as error:
        raise SchemaVersionError(
            f"{database_url!r} names no database: a file path or an SQLAlchemy URL of SQLite or "
            f"PostgreSQL is expected ({error})"
        ) from error
    except ModuleNotFoundError as error:
        raise SchemaVersionError(
            f"The driver {error.name} is not installed. PostgreSQL needs: "
            "pip install 'fleet[postgresql]'"
        ) from error


def make_sessions(engine: Engine) -> sessionmaker[Session]:
    """Make the factory of sessions on an engine."""
    return sessionmaker(engine, expire_on_commit=False)


def _prepare_sqlite(connection: Any, record: object) -> None:
    del record
    connection.isolation_level = None  # the driver must not begin transactions of its own
    for pragma in _SQLITE_PRAGMAS:
        connection.execute(pragma)
    try:
        connection.execute("PRAGMA journal_mode=WAL")
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_READONLY:
            raise  # what may only be read, such as a backup on a sealed medium, is read as it is


def _end_sqlite(connection: Any, record: object) -> None:
    """Roll back what a refused commit left open: SQLite keeps the transaction, and its lock."""
    del record
    if connection is not None and connection.in_transaction:
        connection.rollback()


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get(WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
