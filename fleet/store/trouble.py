"""Failures of the database that a user can meet, told apart from faults of this program."""

from __future__ import annotations

import sqlite3

from sqlalchemy.exc import DatabaseError, OperationalError

SQLITE_FAULTS = ("SQLITE_ERROR", "SQLITE_MISUSE", "SQLITE_RANGE", "SQLITE_SCHEMA")
"""What SQLite says of a statement that is wrong: a fault of this program."""


def database_trouble(error: BaseException) -> str | None:
    """Say what hinders the database: it cannot be opened, read, written, or is no database.

    Parameters
    ----------
    error : BaseException
        As it was raised.

    Returns
    -------
    str or None
        A sentence, or None for an error that is not of this kind.
    """
    if type(error) not in (DatabaseError, OperationalError):
        return None
    cause = error.orig  # type: ignore[attr-defined]  # both are raised by a driver
    if isinstance(cause, sqlite3.Error) and cause.sqlite_errorname in SQLITE_FAULTS:
        return None
    words = str(cause).strip().splitlines()[0] if str(cause).strip() else "no reason given"
    return f"The database cannot be used, nothing was changed: {words}."
