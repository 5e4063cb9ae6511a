"""Many rows into one table, by the quickest way that the database offers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from enum import Enum
from typing import Any

from sqlalchemy import Connection, Table
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from fleet.store.digest import Remembered

ENOUGH_TO_COPY = 200
"""From so many rows on PostgreSQL takes them in one COPY; a few are as quick by INSERT."""

MUCH = 10_000
"""Rows added to a table from which on what PostgreSQL knows of it is taken to be out of date."""

_ALIKE = (Enum, bool, date)
"""Kinds of which a column has few different ones, so that each is turned but once."""


def insert_columns(session: Session, table: Table, columns: Mapping[str, Sequence[object]]) -> None:
    """Insert rows in their order.

    Parameters
    ----------
    session : Session
        In a writing transaction.
    table : Table
    columns : mapping
        The values of every column of the table by its name, equally many; constraints and
        triggers hold as ever.

    Raises
    ------
    DBAPIError
        The database refuses a row, as with an INSERT.
    """
    connection = session.connection()
    turn = _turners(connection, table)
    rows = list(
        zip(*(turn[column.name](columns[column.name]) for column in table.columns), strict=True)
    )
    quote = connection.dialect.identifier_preparer
    names = ", ".join(quote.format_column(column) for column in table.columns)
    aim = f"{quote.format_table(table)} ({names})"
    if connection.dialect.name != "postgresql":
        marks = ", ".join("?" for _ in table.columns)
        connection.exec_driver_sql(f"INSERT INTO {aim} VALUES ({marks})", rows)
    elif len(rows) < ENOUGH_TO_COPY:
        marks = ", ".join("%s" for _ in table.columns)
        connection.exec_driver_sql(f"INSERT INTO {aim} VALUES ({marks})", rows)
    else:
        _copy(connection, f"COPY {aim} FROM STDIN", rows)


def _copy(connection: Connection, statement: str, rows: Sequence[tuple[object, ...]]) -> None:
    driver: Any = connection.connection.driver_connection
    with (
        _as_sqlalchemy_error(connection, statement),
        driver.cursor() as cursor,
        cursor.copy(statement) as copy,
    ):
        for row in rows:
            copy.write_row(row)


def refresh_statistics(session: Session, added: Mapping[str, int]) -> None:
    """Let PostgreSQL look again at tables that have just grown much, before it plans on them.

    It looks by itself some time after a commit; until then it would read whole tables where a few
    rows are asked for. A role that may not is passed over by the server with a notice.

    Parameters
    ----------
    session : Session
        In the transaction that added the rows.
    added : mapping
        Table name to rows added.
    """
    connection = session.connection()
    if connection.dialect.name == "postgresql":
        quote = connection.dialect.identifier_preparer.quote
        for name, rows in added.items():
            if rows >= MUCH:
                connection.exec_driver_sql(f"ANALYZE {quote(name)}")


_Turner = Callable[[Sequence[Any]], Sequence[Any]]


def _turners(connection: Connection, table: Table) -> dict[str, _Turner]:
    """Give what each column's type makes of its values before the driver sees them."""
    dialect = connection.dialect
    return {
        column.name: _turner(
            column.type.dialect_impl(dialect).bind_processor(dialect), column.type.python_type
        )
        for column in table.columns
    }


def _turner(process: Callable[[Any], Any] | None, kind: type) -> _Turner:
    if process is None:
        return _as_they_are
    if issubclass(kind, _ALIKE) and not issubclass(kind, datetime):
        return lambda values: list(map(Remembered(process).__getitem__, values))
    return lambda values: list(map(process, values))


def _as_they_are(values: Sequence[Any]) -> Sequence[Any]:
    return values


@contextmanager
def _as_sqlalchemy_error(connection: Connection, statement: str) -> Iterator[None]:
    """Raise the driver's errors as those of any other statement."""
    base: Any = connection.dialect.loaded_dbapi.Error
    try:
        yield
    except base as error:
        raise DBAPIError.instance(statement, None, error, base) from error
