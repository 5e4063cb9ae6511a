"""Many rows into one table, by the quickest way that the database offers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Table, insert
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

ENOUGH_TO_COPY = 200
"""From so many rows on PostgreSQL takes them in one COPY; a few are as quick by INSERT."""


def insert_rows(session: Session, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Insert rows in their order.

    Parameters
    ----------
    session : Session
        In a writing transaction.
    table : Table
    rows : sequence of mapping
        Every column of the table by name; constraints and triggers hold as ever.

    Raises
    ------
    DBAPIError
        The database refuses a row, as with an INSERT.
    """
    connection = session.connection()
    if connection.dialect.name == "postgresql" and len(rows) >= ENOUGH_TO_COPY:
        _copy(connection, table, rows)
    else:
        session.execute(insert(table), list(rows))


def _copy(connection: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    quote = connection.dialect.identifier_preparer
    names = ", ".join(quote.format_column(column) for column in table.columns)
    statement = f"COPY {quote.format_table(table)} ({names}) FROM STDIN"
    write = _cell_writers(connection, table)
    driver: Any = connection.connection.driver_connection
    with (
        _as_sqlalchemy_error(connection, statement),
        driver.cursor() as cursor,
        cursor.copy(statement) as copy,
    ):
        for row in rows:
            copy.write_row([cell(row[name]) for name, cell in write])


def _cell_writers(connection: Connection, table: Table) -> list[tuple[str, Callable[[Any], Any]]]:
    """Give what each column's type makes of a value before the driver sees it."""
    dialect = connection.dialect
    return [
        (column.name, column.type.dialect_impl(dialect).bind_processor(dialect) or _as_it_is)
        for column in table.columns
    ]


def _as_it_is(value: Any) -> Any:
    return value


@contextmanager
def _as_sqlalchemy_error(connection: Connection, statement: str) -> Iterator[None]:
    """Raise the driver's errors as those of any other statement."""
    base: Any = connection.dialect.loaded_dbapi.Error
    try:
        yield
    except base as error:
        raise DBAPIError.instance(statement, None, error, base) from error
