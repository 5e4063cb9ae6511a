"""Change rows behind the tool's back, past every guard, as somebody with the database could."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, Engine, text


def tamper(engine: Engine, *statements: str) -> None:
    """Run statements with every guard taken away, and put the guards back: nothing is missing."""
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            driver = connection.connection.driver_connection
            driver.execute("PRAGMA foreign_keys=OFF")
            _past_triggers(connection, statements)
            connection.commit()
            driver.execute("PRAGMA foreign_keys=ON")
        else:
            connection.execute(text("SET session_replication_role = replica"))
            _run(connection, statements)
            connection.commit()
            connection.execute(text("SET session_replication_role = origin"))
        connection.commit()


def _past_triggers(connection: Connection, statements: Iterable[str]) -> None:
    triggers = connection.execute(
        text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
    ).all()
    for name, _ in triggers:
        connection.exec_driver_sql(f"DROP TRIGGER {name}")
    _run(connection, statements)
    for _, body in triggers:
        connection.exec_driver_sql(body)


def _run(connection: Connection, statements: Iterable[str]) -> None:
    for statement in statements:
        assert connection.execute(text(statement)).rowcount != 0


def cut_last_entry(engine: Engine, entry_id: int) -> None:
    """Cut the newest entry off with all that it wrote, and undo what it closed."""
    with engine.connect() as connection:
        tables = connection.execute(
            text("SELECT DISTINCT table_name FROM ledger_change WHERE entry_id = :id"),
            {"id": entry_id},
        ).scalars()
        names = sorted(tables)
    undo = [
        f"UPDATE {name} SET known_until = NULL, closing_entry_id = NULL "
        f"WHERE closing_entry_id = {entry_id}"
        for name in names
        if name.endswith("_version")
    ]
    rows = [f"DELETE FROM {name} WHERE entry_id = {entry_id}" for name in names]
    ledger = [
        f"DELETE FROM ledger_change WHERE entry_id = {entry_id}",
        f"DELETE FROM ledger_entry WHERE id = {entry_id}",
    ]
    tamper(engine, *rows, *undo, *ledger)
