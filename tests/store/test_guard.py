"""Rows are written once: change, deletion and replacement are refused by the database itself."""

from __future__ import annotations

import sqlite3
from datetime import date, datetime
from pathlib import Path

import pytest
from sqlalchemy import Boolean, Date, DateTime, Double, Engine, Enum, Integer, Table, text
from sqlalchemy.exc import DBAPIError

from fleet.store.guard import kept_tables
from fleet.store.models.all import METADATA

DERIVED = {"gauge_state"}
"""Tables whose rows follow from the others and are rewritten at will."""

TABLES = sorted(METADATA.tables.keys() - DERIVED)
VERSIONED = sorted(name for name, table in METADATA.tables.items() if "known_until" in table.c)
REPLACED = "rows are never replaced|overlaps another"
CLOSE = (
    "UPDATE depot_version SET known_until = '2025-07-01 00:00:00.000000', closing_entry_id = 1 "
    "WHERE id = 1"
)


@pytest.fixture
def behind(empty_database: Path, tmp_path: Path) -> sqlite3.Connection:
    """A plain connection that enforces nothing by itself, with one row in every table."""
    path = tmp_path / "behind.sqlite"
    path.write_bytes(empty_database.read_bytes())
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA ignore_check_constraints=ON")
    for name in TABLES:
        row = plain_row(METADATA.tables[name])
        marks = ", ".join("?" for _ in row)
        connection.execute(
            f"INSERT INTO {name} ({', '.join(row)}) VALUES ({marks})", tuple(row.values())
        )
    connection.commit()
    yield connection
    connection.close()


def plain_row(table: Table) -> dict[str, object]:
    return {column.name: _plain(column) for column in table.c if not column.nullable}


def _plain(column) -> object:
    kind = column.type
    if isinstance(kind, Enum):
        return str(kind.enums[0])
    if isinstance(kind, Integer | Double | Boolean):
        return 1
    if kind.python_type is datetime or isinstance(kind, DateTime):
        return "2025-06-02 08:00:00.000000"
    if kind.python_type is date or isinstance(kind, Date):
        return "2025-06-02"
    return "x"


def test_there_is_a_row_to_guard_in_every_table(behind):
    counts = [behind.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in TABLES]

    assert counts == [1] * 57
    assert kept_tables() == TABLES


@pytest.mark.parametrize("table", TABLES)
def test_row_is_neither_changed_nor_deleted_nor_replaced(behind, table):
    row = plain_row(METADATA.tables[table])
    names, marks = ", ".join(row), ", ".join("?" for _ in row)
    before = behind.execute(f"SELECT * FROM {table}").fetchall()

    for column in row:
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            behind.execute(f"UPDATE {table} SET {column} = 7")
    with pytest.raises(sqlite3.IntegrityError, match="rows are never deleted"):
        behind.execute(f"DELETE FROM {table}")
    with pytest.raises(sqlite3.IntegrityError, match=REPLACED):
        behind.execute(
            f"INSERT OR REPLACE INTO {table} ({names}) VALUES ({marks})", [*row.values()]
        )

    assert behind.execute(f"SELECT * FROM {table}").fetchall() == before


@pytest.mark.parametrize(
    "table", ["depot", "ledger_entry", "site_version", "installation", "tip_run"]
)
def test_row_is_not_replaced_by_way_of_another_unique_key(behind, table):
    row = {**plain_row(METADATA.tables[table]), "id": 2}
    names, marks = ", ".join(row), ", ".join("?" for _ in row)

    with pytest.raises(sqlite3.IntegrityError, match=REPLACED):
        behind.execute(
            f"INSERT OR REPLACE INTO {table} ({names}) VALUES ({marks})", [*row.values()]
        )

    assert behind.execute(f"SELECT id FROM {table}").fetchall() == [(1,)]


@pytest.mark.parametrize("table", VERSIONED)
def test_row_is_superseded_once_and_only_whole(behind, table):
    other = next(
        c.name for c in METADATA.tables[table].c if c.name.endswith("_id") or c.name == "basis"
    )
    until = "known_until = '2025-07-01 00:00:00.000000'"
    for wrong in (
        f"{until}",
        "closing_entry_id = 1",
        f"{until}, closing_entry_id = 1, {other} = 99",
        f"{until}, closing_entry_id = 1, id = 99",
        f"{until}, closing_entry_id = 1, known_from = '2020-01-01 00:00:00.000000'",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="superseded once"):
            behind.execute(f"UPDATE {table} SET {wrong}")

    behind.execute(f"UPDATE {table} SET {until}, closing_entry_id = 1")

    for again in (
        f"{until}, closing_entry_id = 2",
        "known_until = NULL, closing_entry_id = NULL",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="superseded once"):
            behind.execute(f"UPDATE {table} SET {again}")


def test_postgresql_guards_every_table(shared_postgresql):
    with shared_postgresql.connect() as connection:
        found = connection.execute(
            text(
                "SELECT c.relname || ' ' || p.proname FROM pg_trigger t "
                "JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid "
                "WHERE NOT t.tgisinternal AND t.tgenabled = 'O'"
            )
        ).scalars()
        guards = sorted(found)

    own = {name: "close_only" if name in VERSIONED else "refuse_change" for name in TABLES}
    expected = [f"{name} fleet_{kind}" for name, kind in own.items()]
    expected += [f"{name} fleet_refuse_change" for name in TABLES]
    assert guards == sorted(expected)


def test_postgresql_refuses_change_deletion_and_truncation(shared_postgresql):
    for statement in (
        "UPDATE depot SET code = 'X'",
        "DELETE FROM tip_run",
        "TRUNCATE finding",
        "TRUNCATE daily_total",
        "DELETE FROM depot_version",
        "UPDATE depot_version SET name = 'X'",
        CLOSE.replace("closing_entry_id = 1", "name = 'X'"),
        CLOSE.replace("closing_entry_id = 1", "closing_entry_id = 1, name = 'X'"),
        "INSERT INTO depot (id, code, entry_id) VALUES (1, 'X', 1) "
        "ON CONFLICT (id) DO UPDATE SET code = 'X'",
    ):
        assert "append-only" in refusal(shared_postgresql, statement)


def test_postgresql_supersedes_once(loaded_postgresql):
    with loaded_postgresql.begin() as connection:
        connection.execute(text(CLOSE))

    assert "superseded once" in refusal(loaded_postgresql, CLOSE)


def refusal(engine: Engine, statement: str) -> str:
    with pytest.raises(DBAPIError) as caught, engine.begin() as connection:
        connection.execute(text(statement))
    return str(caught.value.orig)
