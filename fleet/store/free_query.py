"""One question in SQL, put to the database so that it can change nothing and not run on."""

from __future__ import annotations

import re
import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from math import isfinite
from pathlib import Path
from typing import Any

from sqlalchemy import Engine

from fleet.errors import QuestionError

_STEPS = 20_000
"""Steps of SQLite's machine between two looks at the clock: some milliseconds."""

_LONGEST_VALUE = 16_000_000
"""Bytes of the largest text or blob that a question may make."""

_PLAIN = (type(None), bool, int, str, date)
"""Values that are given as they are; a datetime is a date too."""

_ALLOWED = {
    sqlite3.SQLITE_SELECT,
    sqlite3.SQLITE_READ,
    sqlite3.SQLITE_FUNCTION,
    sqlite3.SQLITE_RECURSIVE,
}
_BEGINS = re.compile(r"(?:\s|--[^\n]*(?:\n|$)|/\*.*?\*/|\()*(select|with|values)\b", re.I | re.S)
_EXPECTED = "One SELECT is expected (WITH and VALUES too); it cannot change anything."


@dataclass(frozen=True, slots=True)
class Limits:
    """How long a question may take, in seconds, and how many rows it may give."""

    seconds: float
    rows: int


@dataclass(frozen=True, slots=True)
class Found:
    """Names of the columns, the rows, and whether there are more of them than the limit."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]
    more: bool


def free_query(engine: Engine, sql: str, limits: Limits) -> Found:
    """Put one SELECT to the database.

    Parameters
    ----------
    engine : Engine
        Only its address is used on SQLite: the file is opened anew, for reading only.
    sql : str
        One statement that only reads.
    limits : Limits
        Of time and rows.

    Returns
    -------
    Found
        In the order that the statement gives. Bytes are told in hexadecimal digits, and what is
        no number, text, day or instant as its text.

    Raises
    ------
    QuestionError
        It is no single SELECT, would change something, is wrong, or takes too long.
    """
    if _BEGINS.match(sql) is None:
        raise QuestionError(f"{_EXPECTED} Found: {_shown(sql)}")
    if engine.dialect.name == "sqlite":
        return _ask_sqlite(Path(engine.url.database or ""), sql, limits)
    return _ask_postgresql(engine, sql, limits)


def _shown(sql: str) -> str:
    line = " ".join(sql.split())
    return f"{line[:60]}..." if len(line) > 60 else line or "nothing"


def _ask_sqlite(path: Path, sql: str, limits: Limits) -> Found:
    late = _Deadline(limits.seconds)
    with _reading_sqlite(path, late) as connection:
        try:
            cursor = connection.execute(sql)
            columns = tuple(part[0] for part in cursor.description or ())
            return _cut(columns, cursor.fetchmany(limits.rows + 1), limits)
        except sqlite3.OperationalError as error:
            if error.sqlite_errorname == "SQLITE_INTERRUPT":
                raise QuestionError(_too_long(limits)) from error
            raise QuestionError(_refused(str(error), _hint(error))) from error
        except (sqlite3.Error, sqlite3.Warning) as error:
            raise QuestionError(_refused(str(error), _EXPECTED)) from error


@contextmanager
def _reading_sqlite(path: Path, late: _Deadline) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode=ro", uri=True, isolation_level=None
    )
    try:
        connection.execute("PRAGMA query_only = ON")
        connection.execute("PRAGMA busy_timeout = 5000")
        connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST_VALUE)
        connection.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
        connection.set_authorizer(_may)
        connection.set_progress_handler(late, _STEPS)
        yield connection
    finally:
        connection.close()


class _Deadline:
    """Tells SQLite to stop once the time is over."""

    def __init__(self, seconds: float) -> None:
        self._end = time.monotonic() + seconds

    def __call__(self) -> int:
        return int(time.monotonic() > self._end)


def _may(action: int, first: str | None, second: str | None, *rest: str | None) -> int:
    """Allow reading alone; extensions may not be loaded."""
    del first, rest
    if action not in _ALLOWED or second == "load_extension":
        return sqlite3.SQLITE_DENY
    return sqlite3.SQLITE_OK


def _refused(words: str, hint: str) -> str:
    return f"The database does not take this: {words.rstrip('.')}. {hint}"


def _hint(error: Exception) -> str:
    named = str(error)
    if "no such table" in named or "no such column" in named or "does not exist" in named:
        return "What there is to ask about: fleet database views"
    return _EXPECTED


def _too_long(limits: Limits) -> str:
    return (
        f"The question took longer than {limits.seconds:g} s and was stopped; nothing was changed. "
        "Ask for less, or give it more time with --time-limit."
    )


def _cut(columns: tuple[str, ...], rows: Sequence[Sequence[Any]], limits: Limits) -> Found:
    kept = tuple(tuple(map(_told, row)) for row in rows[: limits.rows])
    return Found(columns, kept, len(rows) > limits.rows)


def _told(value: Any) -> Any:
    """Turn a value into one that every form of output can carry."""
    if isinstance(value, Decimal):
        return int(value) if value == value.to_integral_value() else float(value)
    if isinstance(value, float):
        return value if isfinite(value) else str(value)
    if isinstance(value, bytes | memoryview):
        return bytes(value).hex()
    return value if isinstance(value, _PLAIN) else str(value)


def _ask_postgresql(engine: Engine, sql: str, limits: Limits) -> Found:
    """Ask in a transaction that can only read, by a cursor that takes a single SELECT."""
    import psycopg

    raw = engine.raw_connection()
    try:
        driver: Any = raw.driver_connection
        driver.rollback()
        driver.read_only = True
        with driver.cursor() as cursor:  # the first query fixes that the transaction only reads
            milliseconds = str(max(1, round(1000 * limits.seconds)))
            cursor.execute("SELECT set_config('statement_timeout', %s, true)", (milliseconds,))
        with driver.cursor(name="fleet_question") as cursor:
            cursor.execute(sql.rstrip().rstrip(";"))
            rows = cursor.fetchmany(limits.rows + 1)
            columns = tuple(part.name for part in cursor.description or ())
            return _cut(columns, rows, limits)
    except psycopg.errors.QueryCanceled as error:
        raise QuestionError(_too_long(limits)) from error
    except psycopg.Error as error:
        words = str(error).strip().splitlines()[0]
        raise QuestionError(_refused(words, _hint(error))) from error
    finally:
        raw.invalidate()  # its settings are not for others
