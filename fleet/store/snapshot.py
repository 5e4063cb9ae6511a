"""Sessions that see the records of one moment, whoever writes meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.orm import Session, sessionmaker


@contextmanager
def reading(sessions: sessionmaker[Session]) -> Iterator[Session]:
    """Open a session on one snapshot; nothing is written, nobody is held up.

    SQLite gives a snapshot to each transaction by itself (write-ahead log); PostgreSQL to one
    that asks for repeatable reads.
    """
    with sessions() as session:
        if session.get_bind().dialect.name == "postgresql":
            session.connection(execution_options={"isolation_level": "REPEATABLE READ"})
        yield session
