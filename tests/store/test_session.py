"""How the database is opened, and how instants go in and come out."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy import insert, select, text
from sqlalchemy.exc import OperationalError, StatementError

from fleet.store.models.ledger import LedgerEntry
from fleet.store.session import WRITES, make_engine

AT = datetime(2025, 3, 1, 9, 30, 0, 123456, tzinfo=timezone(timedelta(hours=5, minutes=45)))


def entry(at: datetime) -> dict[str, object]:
    words = dict.fromkeys(("actor", "action", "reason", "previous_hash"), "x")
    return {"id": 900, "at": at, "hash": "0" * 64, **words}


def test_sqlite_connections_keep_the_promises_of_the_records(engine):
    pragmas = {"foreign_keys": 1, "recursive_triggers": 1, "synchronous": 2, "busy_timeout": 5000}
    with engine.connect() as connection:
        found = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one() for name in pragmas
        }
        mode = connection.exec_driver_sql("PRAGMA journal_mode").scalar_one()

    assert found == pragmas
    assert mode == "wal"


def test_instant_comes_back_in_utc_to_the_microsecond(shared_engine):
    with shared_engine.connect() as connection:
        connection.execute(insert(LedgerEntry), [entry(AT)])
        kept = connection.execute(select(LedgerEntry.at).where(LedgerEntry.id == 900)).scalar_one()
        connection.rollback()

    assert kept == datetime(2025, 3, 1, 3, 45, 0, 123456, tzinfo=UTC)
    assert kept.utcoffset() == timedelta(0)


def test_instant_without_offset_is_a_mistake(engine):
    with engine.connect() as connection, pytest.raises(StatementError, match="naive instant"):
        connection.execute(insert(LedgerEntry), [entry(AT.replace(tzinfo=None))])


def test_writing_transaction_takes_the_lock_at_its_start(settings):
    engine = make_engine(settings.database_url)
    with engine.connect().execution_options(**{WRITES: True}) as writer:
        writer.execute(text("SELECT 1"))
        with engine.connect().execution_options(**{WRITES: True}) as other:
            other.connection.driver_connection.execute("PRAGMA busy_timeout=0")
            with pytest.raises(OperationalError, match="locked"):
                other.execute(text("SELECT 1"))
    engine.dispose()


def test_reader_is_not_held_up_by_a_writer(settings):
    engine = make_engine(settings.database_url)
    with engine.connect().execution_options(**{WRITES: True}) as writer:
        writer.execute(text("SELECT 1"))
        with engine.connect() as reader:
            assert reader.execute(text("SELECT count(*) FROM depot")).scalar_one() == 0
    engine.dispose()


def test_second_writer_waits_for_the_first(settings):
    engine = make_engine(settings.database_url)
    done: list[str] = []

    def write_after() -> None:
        with engine.connect().execution_options(**{WRITES: True}) as other:
            other.execute(text("SELECT 1"))
            done.append("second")

    with engine.connect().execution_options(**{WRITES: True}) as writer:
        writer.execute(text("SELECT 1"))
        thread = threading.Thread(target=write_after)
        thread.start()
        thread.join(0.1)
        done.append("first")
    thread.join(5)
    engine.dispose()

    assert done == ["first", "second"]
