"""Several transactions tried out one after the other, and all taken back at the end."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Engine
from sqlalchemy.orm import Session, sessionmaker

from fleet.store.session import WRITES


@contextmanager
def rehearsal(sessions: sessionmaker[Session]) -> Iterator[sessionmaker[Session]]:
    """Lend sessions that see each other's commits and leave nothing behind.

    Parameters
    ----------
    sessions : sessionmaker
        Of an engine.

    Yields
    ------
    sessionmaker
        To be used one session at a time. Nobody else can write while it lasts.
    """
    engine = sessions.kw["bind"]
    if not isinstance(engine, Engine):
        raise TypeError("sessions of an engine are expected")
    with engine.connect().execution_options(**{WRITES: True}) as connection:
        whole = connection.begin()
        try:
            yield sessionmaker(
                connection, expire_on_commit=False, join_transaction_mode="create_savepoint"
            )
        finally:
            whole.rollback()
