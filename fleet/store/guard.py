"""Whether the guards that hold the past still stand in the database, and are as they were made.

The records are append-only because triggers (and on PostgreSQL exclusion constraints) refuse
everything else. Whoever may drop a trigger could change rows; this names what is gone.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache

from sqlalchemy import Connection, text

from fleet.store.base import MUTABLE_COLUMNS
from fleet.store.migrate import upgrade
from fleet.store.models.all import METADATA
from fleet.store.session import engine_on

OWN_TABLES = frozenset({"ledger_entry", "ledger_change"})

_FUNCTIONS = {
    "fleet_refuse_change": "4aecdfa0960020bd0660c72c419ecce03cbd121ce16934a7b9f808ee38cbd8ad",
    "fleet_close_only": "15cb9def5eed97fd536c3d2461491af4512acad83263254ff24b537db6d261af",
}
"""SHA-256 of the bodies of the trigger functions on PostgreSQL, as the revisions make them."""

_EXCLUSIONS = ("ex_installation_instrument", "ex_installation_position")


@dataclass(frozen=True, slots=True)
class MissingGuard:
    """A guard that is gone, switched off, or not as it was made."""

    table: str
    text: str


def kept_tables() -> list[str]:
    """Name every table whose rows are never changed: those that carry a ledger entry."""
    return sorted(
        name
        for name, table in METADATA.tables.items()
        if name in OWN_TABLES or "entry_id" in table.c
    )


def missing_guards(connection: Connection) -> list[MissingGuard]:
    """Hold the guards of a database at head against those that the revisions make.

    Parameters
    ----------
    connection : Connection
        Only read from.

    Returns
    -------
    list of MissingGuard
        In order of table; empty when every guard stands.
    """
    if connection.dialect.name == "sqlite":
        found = _sqlite_faults(connection)
    else:
        found = _postgresql_faults(connection)
    return sorted(found, key=lambda guard: (guard.table, guard.text))


def _sqlite_faults(connection: Connection) -> Iterator[MissingGuard]:
    """Compare with a fresh database in memory: whatever the revisions make is expected."""
    there = _sqlite_triggers(connection)
    for name, (table, body) in _made_triggers().items():
        if name not in there:
            yield MissingGuard(table, f"the trigger {name} is missing")
        elif there[name] != (table, body):
            yield MissingGuard(table, f"the trigger {name} is not as it was made")


@cache
def _made_triggers() -> Mapping[str, tuple[str, str]]:
    with engine_on("sqlite://") as engine:
        upgrade(engine)
        with engine.connect() as connection:
            return _sqlite_triggers(connection)


def _sqlite_triggers(connection: Connection) -> dict[str, tuple[str, str]]:
    rows = connection.execute(
        text("SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'")
    )
    return {name: (table, body) for name, table, body in rows}


def _postgresql_faults(connection: Connection) -> Iterator[MissingGuard]:
    rows = connection.execute(
        text(
            "SELECT t.tgname, c.relname, p.proname, t.tgenabled = 'O' OR t.tgenabled = 'A' "
            "FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "JOIN pg_proc p ON p.oid = t.tgfoid JOIN pg_namespace n ON n.oid = c.relnamespace "
            "WHERE NOT t.tgisinternal AND n.nspname = current_schema()"
        )
    )
    there = {name: (table, function, on) for name, table, function, on in rows}
    for name, (table, function) in _expected_triggers():
        found = there.get(name)
        if found is None:
            yield MissingGuard(table, f"the trigger {name} is missing")
        elif not found[2]:
            yield MissingGuard(table, f"the trigger {name} is switched off")
        elif found[:2] != (table, function):
            yield MissingGuard(table, f"the trigger {name} is not as it was made")
    yield from _function_faults(connection)
    yield from _exclusion_faults(connection)


def _expected_triggers() -> Iterator[tuple[str, tuple[str, str]]]:
    for table in kept_tables():
        closes = set(METADATA.tables[table].c.keys()) >= MUTABLE_COLUMNS
        function = "fleet_close_only" if closes else "fleet_refuse_change"
        yield f"{table}_append_only", (table, function)
        yield f"{table}_no_truncate", (table, "fleet_refuse_change")


def _function_faults(connection: Connection) -> Iterator[MissingGuard]:
    rows = connection.execute(
        text(
            "SELECT p.proname, p.prosrc FROM pg_proc p JOIN pg_namespace n "
            "ON n.oid = p.pronamespace WHERE n.nspname = current_schema()"
        )
    )
    there = {name: hashlib.sha256(body.strip().encode()).hexdigest() for name, body in rows}
    for name, digest in _FUNCTIONS.items():
        if there.get(name) != digest:
            yield MissingGuard("all tables", f"the function {name} is not as it was made")


def _exclusion_faults(connection: Connection) -> Iterator[MissingGuard]:
    there = set(
        connection.execute(text("SELECT conname FROM pg_constraint WHERE contype = 'x'")).scalars()
    )
    for name in _EXCLUSIONS:
        if name not in there:
            yield MissingGuard("installation", f"the constraint {name} is missing")
